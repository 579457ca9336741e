//! Where people find the server: what labels carry.

use axum::extract::FromRequestParts;
use axum::http::header;
use axum::http::request::Parts;

use super::error::PageError;
use super::state::AppState;

/// The server's own address as people type it, such as `https://lab.example.edu`: the one it was started with, or else
/// the one this page was asked for at.
#[derive(Clone, Debug)]
pub struct PublicAddress(pub String);

impl FromRequestParts<AppState> for PublicAddress {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, PageError> {
        if let Some(address) = &state.public_address {
            return Ok(Self(address.to_string()));
        }
        let host = parts.headers.get(header::HOST);
        let host = host.and_then(|host| host.to_str().ok());
        let known = |c: char| c.is_ascii_alphanumeric() || "-.:[]".contains(c);
        let Some(host) = host.filter(|host| !host.is_empty() && host.chars().all(known)) else {
            return Err(PageError::bad_request(
                "The request does not say at which address it found the server.",
            ));
        };
        let scheme = if state.settings.secure_cookies {
            "https"
        } else {
            "http"
        };
        Ok(Self(format!(
            "{scheme}://{host}{}",
            state.place.address("")
        )))
    }
}
