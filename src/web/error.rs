//! Errors as pages: one message for the person, one for the log.

use std::fmt::Display;

use axum::body::Body;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use crate::desk::accounts::AccountError;
use crate::language::{Message, message};
use crate::store::StoreError;

/// Why a page was not shown or a form not taken. Turned into a page of ours on the way out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PageError {
    pub status: StatusCode,
    /// For the person: what is wrong and what to do. No internals.
    pub message: Box<Message>,
    /// For the log: ids only.
    pub log: Option<String>,
    /// After how many seconds to try again.
    pub retry_after: Option<u64>,
    /// The form that was sent, to be offered again so that nothing typed is lost.
    pub again: Option<Box<Again>>,
    /// Where to go instead, for a 303.
    pub see: Option<String>,
}

/// A form to be sent again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Again {
    pub path: String,
    /// What it holds, but for the session's token.
    pub fields: Vec<(String, String)>,
}

pub type PageResult<T> = Result<T, PageError>;

impl PageError {
    /// An answer with that status and message.
    pub fn new(status: StatusCode, message: impl Into<Message>) -> Self {
        Self {
            status,
            message: Box::new(message.into()),
            log: None,
            retry_after: None,
            again: None,
            see: None,
        }
    }

    /// 400: the request is not one our pages make.
    pub fn bad_request(message: impl Into<Message>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, message)
    }

    /// 403: not for this person.
    pub fn forbidden(message: impl Into<Message>) -> Self {
        Self::new(StatusCode::FORBIDDEN, message)
    }

    /// 404: nothing here.
    pub fn not_found() -> Self {
        of_status(StatusCode::NOT_FOUND)
    }

    /// 413: more than is taken.
    pub fn too_large(message: impl Into<Message>) -> Self {
        Self::new(StatusCode::PAYLOAD_TOO_LARGE, message)
    }

    /// 415: not the kind of content expected.
    pub fn unsupported(message: impl Into<Message>) -> Self {
        Self::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, message)
    }

    /// 422: understood, and not possible.
    pub fn unprocessable(message: impl Into<Message>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, message)
    }

    /// 429: too often; try again after so many seconds.
    pub fn too_many(message: impl Into<Message>, retry_after: u64) -> Self {
        Self {
            retry_after: Some(retry_after),
            ..Self::new(StatusCode::TOO_MANY_REQUESTS, message)
        }
    }

    /// 500: our fault. The person gets a number that is in the log beside `why`.
    pub fn internal(why: impl Display) -> Self {
        Self {
            log: Some(why.to_string()),
            ..of_status(StatusCode::INTERNAL_SERVER_ERROR)
        }
    }

    /// 303 to another page of ours.
    pub fn see_other(path: impl Into<String>) -> Self {
        Self {
            see: Some(path.into()),
            ..Self::new(StatusCode::SEE_OTHER, "")
        }
    }

    /// 401: the session has ended, or there was none.
    pub fn sign_in_needed() -> Self {
        of_status(StatusCode::UNAUTHORIZED)
    }
}

/// The error of a bare status, such as axum's own answers.
pub fn of_status(status: StatusCode) -> PageError {
    let key = match status.as_u16() {
        400 => "error.status.400",
        401 => "error.status.401",
        403 => "error.status.403",
        404 => "error.status.404",
        405 => "error.status.405",
        408 => "error.status.408",
        409 => "error.status.409",
        413 => "error.status.413",
        415 => "error.status.415",
        422 => "error.status.422",
        429 => "error.status.429",
        503 => "error.status.503",
        _ if status.is_client_error() => "error.status.refused",
        _ => "error.status.ours",
    };
    PageError::new(status, Message::new(key))
}

impl From<StoreError> for PageError {
    fn from(why: StoreError) -> Self {
        match why {
            StoreError::Closed => Self::new(StatusCode::CONFLICT, message!("error.closed")),
            StoreError::NoCourse => Self::new(StatusCode::NOT_FOUND, message!("error.no-course")),
            other if other.is_away() => Self {
                log: Some(other.to_string()),
                retry_after: Some(5),
                ..Self::new(StatusCode::SERVICE_UNAVAILABLE, message!("error.away"))
            },
            other if other.is_of_disk() => Self {
                log: Some(other.to_string()),
                ..Self::new(StatusCode::INSUFFICIENT_STORAGE, message!("error.disk"))
            },
            other => Self::internal(other),
        }
    }
}

impl From<AccountError> for PageError {
    fn from(why: AccountError) -> Self {
        match why {
            AccountError::Store(why) => why.into(),
            other => Self::internal(other),
        }
    }
}

impl IntoResponse for PageError {
    fn into_response(self) -> Response {
        let mut response = Response::new(Body::empty());
        *response.status_mut() = self.status;
        if let Some(path) = self.see.as_ref().and_then(|path| path.parse().ok()) {
            response.headers_mut().insert(header::LOCATION, path);
            return response;
        }
        if let Some(seconds) = self.retry_after {
            response
                .headers_mut()
                .insert(header::RETRY_AFTER, seconds.into());
        }
        // the page itself is made on the way out, where the visitor and the course are known
        response.extensions_mut().insert(self);
        response
    }
}
