//! Files of `static/`, inside the binary.

use axum::extract::Path;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use rust_embed::{Embed, EmbeddedFile};

use crate::words::hexadecimal;

#[derive(Embed)]
#[folder = "static/"]
struct Assets;

/// Address of a file with its version, so that it may be kept for ever.
pub fn address(file: &str) -> String {
    match Assets::get(file) {
        Some(found) => format!("/static/{file}?v={}", version(&found)),
        None => format!("/static/{file}"),
    }
}

pub async fn serve(Path(path): Path<String>, uri: Uri, headers: HeaderMap) -> Response {
    let Some(file) = Assets::get(&path) else {
        return (StatusCode::NOT_FOUND, "no such file").into_response();
    };
    let version = version(&file);
    let tag = format!("\"{version}\"");
    let named = uri.query() == Some(&format!("v={version}"));
    let keep = if named {
        "public, max-age=31536000, immutable"
    } else {
        "no-cache"
    };
    let known = headers
        .get(header::IF_NONE_MATCH)
        .and_then(|given| given.to_str().ok())
        .is_some_and(|given| {
            given
                .split(',')
                .any(|one| one.trim().trim_start_matches("W/") == tag)
        });
    let describe = [(header::ETAG, tag.as_str()), (header::CACHE_CONTROL, keep)];
    if known {
        return (StatusCode::NOT_MODIFIED, describe).into_response();
    }
    let kind = [(header::CONTENT_TYPE, content_type(&path))];
    let mut response = (describe, kind, file.data.into_owned()).into_response();
    if path == "worker.js" {
        // it asks for a scope of its own: pages of students alone, which stand apart in every course
        let scope = HeaderValue::from_static("/");
        let name = HeaderName::from_static("service-worker-allowed");
        response.headers_mut().insert(name, scope);
    }
    response
}

fn version(file: &EmbeddedFile) -> String {
    let hash = file.metadata.sha256_hash();
    hexadecimal(hash.get(..8).unwrap_or(&hash))
}

fn content_type(path: &str) -> &'static str {
    match path.rsplit_once('.').map(|(_, extension)| extension) {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("ico") => "image/x-icon",
        Some("webmanifest") => "application/manifest+json",
        Some("txt") => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}
