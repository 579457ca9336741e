//! Around every page: finds the session before it, and turns errors into pages after it.

use std::sync::{Arc, Mutex, PoisonError};

use askama::Template;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::CookieJar;

use super::error::{Again, PageError, of_status};
use super::fields::{self, Fields, MOST_BYTES, TOKEN_FIELD};
use super::frame::{Frame, Page};
use super::log::Asked;
use super::sign_in::SignInPage;
use super::state::{AppState, Settings};
use super::visitor::Anyone;
use crate::course::Course;
use crate::desk::accounts::person_here;
use crate::desk::sessions::{Session, Token, find_session};
use crate::form::Typed;
use crate::ids::CourseKey;
use crate::language::{Language, Message};
use crate::store::StoreError;
use crate::words::hexadecimal;

#[derive(Template)]
#[template(path = "error.html")]
struct ErrorPage {
    frame: Frame,
    message: Box<Message>,
    incident: Option<String>,
    again: Option<Box<Again>>,
    /// The key of what is said of that form.
    kept: &'static str,
    /// Where to go on from here.
    start: &'static str,
}

/// What a form of somebody signed in held, so that it can be sent again where it could not be kept.
#[derive(Clone, Debug, Default)]
pub(super) struct Sent(Arc<Mutex<Option<Typed>>>);

impl Sent {
    pub fn keep(&self, typed: &Typed) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(typed.clone());
    }

    fn again(&self, path: &str) -> Option<Box<Again>> {
        let typed = self.0.lock().unwrap_or_else(PoisonError::into_inner).take();
        let fields = typed?.into_pairs();
        let path = path.to_owned();
        (!fields::NOT_KEPT.contains(&path.as_str())).then(|| Box::new(Again { path, fields }))
    }
}

/// The layer. A form posted after its session has ended is kept, and can be sent once its owner has signed in again.
pub async fn surround(State(state): State<AppState>, request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let mut anyone = Anyone {
        session: None,
        course: String::new(),
        language: Language::default(),
        path,
        place: state.place.clone(),
        is_stranger: false,
        in_department: state.department.is_some(),
        way: state.way(),
        demo: Arc::clone(&state.demo),
        carried: None,
    };
    let carried = token(&state, request.headers());
    match look(&state, carried, leads_to(request.uri())).await {
        Ok((session, course)) => {
            anyone.is_stranger = matches!(session, Found::Stranger);
            anyone.session = match session {
                Found::Session(session) => Some(session),
                Found::Nobody | Found::Stranger => None,
            };
            (anyone.course, anyone.language) = (course.title, course.language);
        }
        Err(why) => {
            // whose session it is cannot be asked; that the form is from a page of it can
            let course = &state.desk.as_it_is().term.course;
            (anyone.course, anyone.language) = (course.title.clone(), course.language);
            anyone.carried = token(&state, request.headers());
            let kept = keep_form(request, &anyone).await;
            let kept = kept.ok().and_then(|(_, kept)| kept);
            let error = PageError {
                again: kept.filter(|_| anyone.carried.is_some()).map(Box::new),
                ..why.into()
            };
            let first = error.clone().into_response();
            return with_headers_of(first, page_of(error, &anyone, None));
        }
    }
    let anyone = Arc::new(anyone);
    let (mut request, kept) = match keep_form(request, &anyone).await {
        Ok(kept) => kept,
        Err(why) => return page_of(why, &anyone, None),
    };
    request.extensions_mut().insert(Arc::clone(&anyone));
    let sent = Sent::default();
    request.extensions_mut().insert(sent.clone());
    let mut response = next.run(request).await;
    if let Some(mut error) = response.extensions_mut().remove::<PageError>() {
        if error.status.is_server_error() && error.again.is_none() {
            error.again = sent.again(&anyone.path);
        }
        response = with_headers_of(response, page_of(error, &anyone, kept));
    } else if is_bare_refusal(&response) {
        let error = of_status(response.status());
        response = with_headers_of(response, page_of(error, &anyone, kept));
    }
    if let Some(session) = &anyone.session {
        let login = session.person.login.clone();
        response.extensions_mut().insert(Asked(login));
    }
    response
}

/// The name of the cookie. Browsers take the prefix only from the very host, over TLS, for every path.
pub(super) fn cookie_name(settings: &Settings) -> &'static str {
    if settings.secure_cookies {
        "__Host-concordant"
    } else {
        "concordant"
    }
}

/// Whose session a request carries.
enum Found {
    Session(Session),
    /// Somebody signed in who is on no list of this course.
    Stranger,
    Nobody,
}

async fn look(
    state: &AppState,
    carried: Option<Token>,
    to: Option<CourseKey>,
) -> Result<(Found, Course), StoreError> {
    let mut course = state.desk.look().await?.term.course.clone();
    let session = match carried {
        Some(token) => find_session(&state.people, token, state.clock.now()).await?,
        None => None,
    };
    let is_shared = Arc::ptr_eq(&state.desk, &state.people);
    if let Some(department) = &state.department
        && is_shared
    {
        let id = session.as_ref().map(|one| &one.account);
        course.language = department.language(to.as_ref(), id).await?;
    }
    let Some(session) = session else {
        return Ok((Found::Nobody, course));
    };
    if is_shared {
        return Ok((Found::Session(session), course));
    }
    // what they may do here, the lists of this course say
    let here = person_here(&state.desk, (&session.account, session.number.as_ref())).await?;
    let found = match here {
        Some(person) => Found::Session(Session { person, ..session }),
        None => Found::Stranger,
    };
    Ok((found, course))
}

/// The course that a page which courses share leads on to.
fn leads_to(asked: &Uri) -> Option<CourseKey> {
    let query = asked.query()?;
    let mut pairs = form_urlencoded::parse(query.as_bytes());
    let (_, next) = pairs.find(|(name, _)| name == "next")?;
    let key = next.strip_prefix("/c/")?.split('/').next()?;
    CourseKey::parse(key).ok()
}

fn token(state: &AppState, headers: &HeaderMap) -> Option<Token> {
    let jar = CookieJar::from_headers(headers);
    let cookie = jar.get(cookie_name(&state.settings))?;
    Some(Token::from_cookie(cookie.value()))
}

/// Reads the form of somebody without a session, where there is one, and puts it back.
async fn keep_form(
    request: Request,
    anyone: &Anyone,
) -> Result<(Request, Option<Again>), PageError> {
    let not_kept = fields::NOT_KEPT.contains(&anyone.path.as_str());
    if anyone.session.is_some()
        || not_kept
        || request.method().is_safe()
        || !fields::is_form(request.headers())
    {
        return Ok((request, None));
    }
    let (parts, body) = request.into_parts();
    let read = tokio::time::timeout(super::LONGEST_REQUEST, fields::read(body, MOST_BYTES));
    let bytes = read
        .await
        .map_err(|_| of_status(StatusCode::REQUEST_TIMEOUT))??;
    let fields = Fields::parse(&bytes)?;
    let request = Request::from_parts(parts, Body::from(bytes));
    let given = fields.text(TOKEN_FIELD);
    if let Some(carried) = &anyone.carried
        && !carried.is_form_token(given)
    {
        return Ok((request, None));
    }
    let mut fields = fields.0.into_pairs();
    fields.retain(|(name, _)| name != TOKEN_FIELD);
    let again = Again {
        path: anyone.place.own(&anyone.path),
        fields,
    };
    Ok((request, Some(again)))
}

fn page_of(mut error: PageError, anyone: &Anyone, kept: Option<Again>) -> Response {
    if error.status == StatusCode::UNAUTHORIZED {
        let page = SignInPage::again(anyone, kept);
        return Page(page).with_status(error.status);
    }
    let incident = error.log.take().map(|why| {
        let incident = incident();
        // Debug escapes line breaks
        tracing::error!(incident, why = ?why, "failed");
        incident
    });
    let title = anyone.language().text(title(error.status));
    let page = ErrorPage {
        frame: anyone.frame(title),
        message: error.message,
        incident,
        again: error.again,
        kept: match error.status {
            StatusCode::SERVICE_UNAVAILABLE => "error.kept-unsure",
            _ => "error.kept",
        },
        start: if anyone.is_stranger { "/courses" } else { "/" },
    };
    match page.render() {
        Ok(html) => (error.status, axum::response::Html(html)).into_response(),
        Err(why) => {
            tracing::error!(why = ?why.to_string(), "the page for errors failed");
            (StatusCode::INTERNAL_SERVER_ERROR, title).into_response()
        }
    }
}

/// A short number under which a fault is found in the log.
fn incident() -> String {
    let mut bytes = [0_u8; 4];
    match getrandom::fill(&mut bytes) {
        Ok(()) => hexadecimal(&bytes),
        Err(_) => "unnumbered".to_owned(),
    }
}

/// axum's own refusals are empty or plain text; none of ours are.
fn is_bare_refusal(response: &Response) -> bool {
    let status = response.status();
    let kind = response.headers().get(header::CONTENT_TYPE);
    let bare = kind.is_none_or(|kind| kind.as_bytes().starts_with(b"text/plain"));
    bare && (status.is_client_error() || status.is_server_error())
}

/// Keeps what the first answer said beside its text, such as the methods allowed.
fn with_headers_of(first: Response, mut page: Response) -> Response {
    for (name, value) in first.headers() {
        if ![header::CONTENT_TYPE, header::CONTENT_LENGTH].contains(name) {
            page.headers_mut().append(name, value.clone());
        }
    }
    page
}

/// The key of the title.
fn title(status: StatusCode) -> &'static str {
    match status.as_u16() {
        400 => "error.title.400",
        403 => "error.title.403",
        404 => "error.title.404",
        405 => "error.title.405",
        408 => "error.title.408",
        409 => "error.title.409",
        413 => "error.title.413",
        415 => "error.title.415",
        422 => "error.title.422",
        507 => "error.title.507",
        429 => "error.title.429",
        503 => "error.title.503",
        _ if status.is_client_error() => "error.title.refused",
        _ => "error.title.ours",
    }
}
