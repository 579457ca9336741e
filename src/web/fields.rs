//! Fields of forms and queries as text, in order. Pages turn them into nouns themselves.

use std::collections::BTreeSet;
use std::ops::Deref;

use axum::body::{Body, Bytes};
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use http_body_util::BodyExt;

use super::error::{Again, PageError, PageResult};
use super::sign_in::{Caller, Turn};
use super::state::AppState;
use super::surround::Sent;
use super::visitor::anyone;
use crate::form::Typed;
use crate::language::message;

/// Most fields of a form or a query.
pub const MOST_FIELDS: usize = 2_000;
/// Most bytes of a form without a file.
pub const MOST_BYTES: usize = 64 * 1024;
/// Most bytes of a file that is carried from a look at it to its confirmation.
pub const MOST_FILE_IN_FORM: usize = 512 * 1024;
/// Most bytes of a form that carries a file.
const MOST_LONG_BYTES: usize = 4 * MOST_FILE_IN_FORM;
/// Bytes read past a limit and thrown away, so that the browser hears the answer instead of a broken connection.
const MOST_DRAINED: usize = 64 * 1024 * 1024;
/// Forms that are not kept to be sent again: they hold passwords, or nothing.
pub(super) const NOT_KEPT: [&str; 11] = [
    "/lti/login",
    "/lti/launch",
    "/sign-in",
    "/sign-in/campus",
    "/sign-in/code",
    "/sign-out",
    "/claim",
    "/password",
    "/second-step/begin",
    "/second-step/confirm",
    "/second-step/end",
];
/// The hidden field that shows a form is from a page of this session.
pub const TOKEN_FIELD: &str = "csrf";

/// What was typed. As a parameter of a handler: the fields of a posted form that carried its session's token.
///
/// A name may come once, unless it ends in `[]`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fields(pub Typed);

/// A posted form that carries a whole file, every byte of which may be sent as three.
#[derive(Debug)]
pub struct LongForm(pub Fields);

/// Fields of a form that people send before they are signed in; other sites are kept out by where it comes from.
/// The place among the attempts under way is kept until they are dropped.
#[derive(Debug)]
pub struct OpenFields(pub Fields, pub Turn);

/// Fields of the query.
#[derive(Clone, Debug)]
pub struct QueryFields(pub Fields);

impl Fields {
    /// Fields in order.
    pub fn new(fields: Vec<(String, String)>) -> PageResult<Self> {
        few_enough(fields.len())?;
        let mut before = BTreeSet::new();
        let single = fields.iter().map(|(name, _)| name);
        for name in single.filter(|name| !name.ends_with("[]")) {
            if !before.insert(name) {
                let name: String = name.chars().take(60).collect();
                return Err(PageError::bad_request(message!(
                    "error.twice",
                    field = name
                )));
            }
        }
        Ok(Self(Typed::new(fields)))
    }

    /// From the text of a body or query.
    pub fn parse(encoded: &[u8]) -> PageResult<Self> {
        // counted before anything is made of it
        few_enough(encoded.split(|byte| *byte == b'&').count())?;
        Self::new(form_urlencoded::parse(encoded).into_owned().collect())
    }

    /// The field of that name, which every page of ours sends.
    pub fn need(&self, name: &str) -> PageResult<&str> {
        self.one(name)
            .ok_or_else(|| PageError::bad_request(message!("error.no-field", field = name)))
    }

    /// Takes out the session's token.
    pub(super) fn checked(self, parts: &Parts) -> PageResult<Self> {
        let anyone = anyone(parts)?;
        let session = anyone
            .session
            .as_ref()
            .ok_or_else(PageError::sign_in_needed)?;
        let given = self.one(TOKEN_FIELD).map(str::to_owned);
        let own = self.0.only(|name| name != TOKEN_FIELD);
        match given {
            Some(given) if session.token.is_form_token(&given) => Ok(Self(own)),
            None => Err(PageError::forbidden(message!("error.not-of-page"))),
            Some(_) => Err(PageError {
                again: again(parts, own.into_pairs()),
                ..PageError::forbidden(message!("error.session-before"))
            }),
        }
    }
}

impl Deref for Fields {
    type Target = Typed;

    fn deref(&self) -> &Typed {
        &self.0
    }
}

impl<S: Sync> FromRequest<S> for Fields {
    type Rejection = PageError;

    async fn from_request(request: Request, _: &S) -> PageResult<Self> {
        let (parts, body) = request.into_parts();
        let fields = posted(&parts.headers, body, MOST_BYTES)
            .await?
            .checked(&parts)?;
        if let Some(sent) = parts.extensions.get::<Sent>() {
            sent.keep(&fields);
        }
        Ok(fields)
    }
}

impl<S: Sync> FromRequest<S> for LongForm {
    type Rejection = PageError;

    async fn from_request(request: Request, _: &S) -> PageResult<Self> {
        let (parts, body) = request.into_parts();
        let fields = posted(&parts.headers, body, MOST_LONG_BYTES).await?;
        fields.checked(&parts).map(Self)
    }
}

impl FromRequest<AppState> for OpenFields {
    type Rejection = PageError;

    async fn from_request(request: Request, state: &AppState) -> PageResult<Self> {
        let (mut parts, body) = request.into_parts();
        // whoever has to wait is told so before anything is read
        let caller = Caller::from_request_parts(&mut parts, state).await?;
        let turn = state.gate.enter(state, &caller).await?;
        // the sign-in form may bring a whole other form along, encoded once more
        let fields = posted(&parts.headers, body, 4 * MOST_BYTES).await?;
        Ok(Self(fields, turn))
    }
}

impl<S: Sync> FromRequestParts<S> for QueryFields {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> PageResult<Self> {
        Fields::parse(parts.uri.query().unwrap_or_default().as_bytes()).map(Self)
    }
}

/// The form offered again, unless it holds a file or a password.
fn again(parts: &Parts, fields: Vec<(String, String)>) -> Option<Box<Again>> {
    let path = parts.uri.path().to_owned();
    let keep = is_form(&parts.headers) && !NOT_KEPT.contains(&path.as_str());
    keep.then(|| Box::new(Again { path, fields }))
}

async fn posted(headers: &HeaderMap, body: Body, most: usize) -> PageResult<Fields> {
    if !is_form(headers) {
        return Err(PageError::unsupported(message!("error.no-form")));
    }
    Fields::parse(&read(body, most).await?)
}

/// Whether a form with that many fields is taken.
pub(super) fn few_enough(fields: usize) -> PageResult<()> {
    if fields <= MOST_FIELDS {
        return Ok(());
    }
    Err(PageError::too_large(message!(
        "error.fields",
        most = MOST_FIELDS
    )))
}

/// Whether the body is said to be a form without files.
pub(super) fn is_form(headers: &HeaderMap) -> bool {
    let said = headers
        .get(header::CONTENT_TYPE)
        .and_then(|said| said.to_str().ok());
    let kind = said
        .and_then(|said| said.split(';').next())
        .unwrap_or_default();
    kind.trim()
        .eq_ignore_ascii_case("application/x-www-form-urlencoded")
}

/// The whole body, if it is not too long.
pub(super) async fn read(mut body: Body, most: usize) -> PageResult<Bytes> {
    let (mut kept, mut seen) = (Vec::new(), 0_usize);
    while let Some(frame) = body.frame().await {
        let frame = frame.map_err(|_| broken_off())?;
        let Ok(data) = frame.into_data() else {
            continue;
        };
        seen = seen.saturating_add(data.len());
        if seen <= most {
            kept.extend_from_slice(&data);
        } else if seen > MOST_DRAINED {
            break;
        }
    }
    if seen > most {
        return Err(PageError::too_large(message!(
            "error.long",
            most = most / 1024
        )));
    }
    Ok(kept.into())
}

/// The connection ended in the middle.
pub(super) fn broken_off() -> PageError {
    PageError::bad_request(message!("error.broken-off"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_keep_their_order_and_are_found_by_name_and_prefix() {
        let fields =
            Fields::parse(b"trial-1-start=0.00&trial-1-end=18.40&note=+wet+&pick[]=a&pick[]=b")
                .expect("is sound");
        assert_eq!(fields.one("trial-1-end"), Some("18.40"));
        assert_eq!(fields.text("note"), "wet");
        assert_eq!(fields.text("missing"), "");
        let trial: Vec<_> = fields.all("trial-1-").collect();
        assert_eq!(trial, [("trial-1-start", "0.00"), ("trial-1-end", "18.40")]);
        assert_eq!(fields.list("pick[]").collect::<Vec<_>>(), ["a", "b"]);
        let why = fields.need("lot").expect_err("is missing");
        assert!(why.message.to_string().contains("\u{201c}lot\u{201d}"));
    }

    /// Forms as long as the sign-in takes, made to cost the most: all names different, all empty, all alike but for the end.
    #[test]
    fn many_fields_are_refused_before_they_are_compared() {
        let different = |n: usize| {
            (0..n)
                .map(|at| format!("{at:x}"))
                .collect::<Vec<_>>()
                .join("&")
        };
        assert!(Fields::parse(different(MOST_FIELDS).as_bytes()).is_ok());
        let begun = std::time::Instant::now();
        for text in [
            different(MOST_FIELDS + 1),
            different(47_000),
            "&".repeat(4 * MOST_BYTES),
        ] {
            let why = Fields::parse(text.as_bytes()).expect_err("is too many");
            assert_eq!(why.status, 413);
            assert!(
                why.message.to_string().contains("2000 fields"),
                "{}",
                why.message
            );
        }
        let alike = "a".repeat(120);
        let alike: Vec<_> = (0..MOST_FIELDS).map(|at| format!("{alike}{at}")).collect();
        assert!(Fields::parse(alike.join("&").as_bytes()).is_ok());
        // every pair compared took seconds
        assert!(begun.elapsed().as_millis() < 1_000, "{:?}", begun.elapsed());
    }

    #[test]
    fn a_name_that_comes_twice_is_refused_by_name() {
        let why = Fields::parse(b"lot=A&lot=B").expect_err("comes twice");
        assert_eq!(why.status, 400);
        assert!(
            why.message
                .to_string()
                .contains("\u{201c}lot\u{201d} came more than once"),
            "{}",
            why.message
        );
    }
}
