//! Pages that answer a form, kept for a while under an address of their own.
//!
//! The form is answered by 303 to that address, so that going back to the page, or loading it anew, asks nobody whether
//! to send the form once more. A page is shown to the session that sent the form alone, and lies in memory alone.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use axum::body::{HttpBody, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};

use super::error::PageError;
use super::visitor::anyone;
use super::{AppState, random_key};
use crate::desk::sessions::Token;

/// Most pages kept for one session: the way back is seldom longer.
const MOST_OF_A_SESSION: usize = 4;
/// Most bytes of all pages together.
const MOST_BYTES: usize = 48 * 1024 * 1024;
/// A longer page answers its form itself.
const MOST_BYTES_OF_A_PAGE: usize = 4 * 1024 * 1024;

/// Pages in the order they were made.
#[derive(Clone, Debug, Default)]
pub struct KeptPages(Arc<Mutex<VecDeque<KeptPage>>>);

#[derive(Debug)]
struct KeptPage {
    key: String,
    /// The session it is for.
    session: Token,
    status: StatusCode,
    headers: HeaderMap,
    body: Vec<u8>,
}

impl KeptPages {
    fn put(&self, page: KeptPage) {
        let mut pages = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let of_session = |kept: &&KeptPage| kept.session == page.session;
        if pages.iter().filter(of_session).count() >= MOST_OF_A_SESSION
            && let Some(oldest) = pages.iter().position(|kept| kept.session == page.session)
        {
            pages.remove(oldest);
        }
        pages.push_back(page);
        let mut bytes: usize = pages.iter().map(|kept| kept.body.len()).sum();
        while bytes > MOST_BYTES
            && let Some(oldest) = pages.pop_front()
        {
            bytes = bytes.saturating_sub(oldest.body.len());
        }
    }

    fn get(&self, key: &str, session: &Token) -> Option<Response> {
        let pages = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mut of_session = pages.iter().filter(|kept| kept.session == *session);
        let page = of_session.find(|kept| kept.key == key)?;
        let answer = (page.status, page.headers.clone(), page.body.clone());
        Some(answer.into_response())
    }
}

/// The layer. A page lost since, by a restart or for want of room, leads to where its form stands; what was typed is in
/// the browser's own draft.
pub async fn keep(State(state): State<AppState>, request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let method = request.method().clone();
    let (parts, body) = request.into_parts();
    let session = anyone(&parts).ok().and_then(|anyone| {
        let session = anyone.session.as_ref()?;
        Some(session.token.clone())
    });
    let Some(session) = session else {
        return next.run(Request::from_parts(parts, body)).await;
    };
    if method == Method::GET {
        let query = parts.uri.query().unwrap_or_default();
        let wanted = form_urlencoded::parse(query.as_bytes()).find(|(name, _)| name == "kept");
        return match wanted {
            None => next.run(Request::from_parts(parts, body)).await,
            Some((_, key)) => match state.kept.get(&key, &session) {
                Some(page) => page,
                None => Redirect::to(&form_of(&path)).into_response(),
            },
        };
    }
    let response = next.run(Request::from_parts(parts, body)).await;
    let bytes = usize::try_from(response.body().size_hint().lower());
    let is_short = bytes.is_ok_and(|bytes| bytes <= MOST_BYTES_OF_A_PAGE);
    if method != Method::POST || !is_page(&response) || !is_short {
        return response;
    }
    match kept(&state.kept, session, response).await {
        Ok(key) => Redirect::to(&format!("{path}?kept={key}")).into_response(),
        Err(why) => why.into_response(),
    }
}

async fn kept(pages: &KeptPages, session: Token, page: Response) -> Result<String, PageError> {
    let key = random_key()?;
    let (parts, body) = page.into_parts();
    let body = to_bytes(body, MOST_BYTES_OF_A_PAGE).await;
    pages.put(KeptPage {
        key: key.clone(),
        session,
        status: parts.status,
        headers: parts.headers,
        body: body.map_err(PageError::internal)?.to_vec(),
    });
    Ok(key)
}

/// A page of ours for the session that asked, and no error, which is made into a page further out.
fn is_page(response: &Response) -> bool {
    if response.headers().contains_key(header::SET_COOKIE) {
        return false;
    }
    let kind = response.headers().get(header::CONTENT_TYPE);
    let is_html = kind.is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"));
    is_html && response.extensions().get::<PageError>().is_none()
}

/// Where the form stands that is sent to a path: a student's has a draft there, anybody else begins at the first page.
fn form_of(path: &str) -> String {
    if !path.starts_with("/student/") {
        return "/".to_owned();
    }
    let (experiment, last) = path.rsplit_once('/').unwrap_or((path, ""));
    match last {
        "hand-in" | "answer" => format!("{experiment}/bench"),
        "note" | "curve" => experiment.to_owned(),
        _ => path.to_owned(),
    }
}
