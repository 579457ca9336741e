//! The beginning of a launch: a platform sends a browser here, and it is sent on to be named (SEC 5.1.1.1 and 5.1.1.2; OIDC 4).

use super::Platform;

/// What a browser brings from a platform.
#[derive(Clone, Copy, Debug, Default)]
pub struct LoginRequest<'a> {
    pub issuer: &'a str,
    /// Says to the platform who it is; ours to give back.
    pub login_hint: &'a str,
    /// Where the launch is to end.
    pub target: &'a str,
    /// Says to the platform what is launched; given back unaltered where it came.
    pub message_hint: Option<&'a str>,
    /// Where one issuer has several of us.
    pub client: Option<&'a str>,
    pub deployment: Option<&'a str>,
}

/// Why a browser is not sent on.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LoginFault {
    #[error("found no {0}, expected one")]
    Missing(&'static str),
    #[error("found a platform that is not registered here, expected one that is")]
    Unknown,
    #[error("found several registrations of that platform, expected it to say which by client_id")]
    Which,
}

impl<'a> LoginRequest<'a> {
    /// The registration that is meant.
    pub fn platform<'p>(&self, known: &'p [Platform]) -> Result<&'p Platform, LoginFault> {
        for (name, value) in [
            ("iss", self.issuer),
            ("login_hint", self.login_hint),
            ("target_link_uri", self.target),
        ] {
            if value.is_empty() {
                return Err(LoginFault::Missing(name));
            }
        }
        let same = |one: &&Platform| {
            one.issuer == self.issuer
                && self.client.is_none_or(|client| client == one.client)
                && self.deployment.is_none_or(|name| name == one.deployment)
        };
        let mut fitting = known.iter().filter(same);
        let first = fitting.next().ok_or(LoginFault::Unknown)?;
        // of one client with several deployments, the message says which it is
        match fitting.find(|one| one.client != first.client) {
            Some(_) => Err(LoginFault::Which),
            None => Ok(first),
        }
    }
}

/// Where a browser is sent to be named: with every parameter that SEC 5.1.1.2 asks for, each once.
pub fn asked(
    platform: &Platform,
    request: &LoginRequest<'_>,
    back: &str,
    (state, nonce): (&str, &str),
) -> String {
    let mut query = form_urlencoded::Serializer::new(String::new());
    query.extend_pairs([
        ("scope", "openid"),
        ("response_type", "id_token"),
        ("response_mode", "form_post"),
        ("prompt", "none"),
        ("client_id", &platform.client),
        ("redirect_uri", back),
        ("login_hint", request.login_hint),
        ("state", state),
        ("nonce", nonce),
    ]);
    if let Some(hint) = request.message_hint {
        query.append_pair("lti_message_hint", hint);
    }
    let joined = if platform.authorize.contains('?') {
        '&'
    } else {
        '?'
    };
    format!("{}{joined}{}", platform.authorize, query.finish())
}
