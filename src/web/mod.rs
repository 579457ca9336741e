//! Pages over HTTP: the only place that names axum and askama.
//!
//! A request passes, from the outside in: [`log`], [`headers`], [`surround`] (finds the session, turns errors into
//! pages), the check that a write comes from our own pages, the catcher of panics, and its handler. A handler's
//! parameters say who may reach it ([`visitor`]) and what was sent ([`fields`], [`upload`]).

pub mod assets;
pub mod assistant;
mod at;
pub mod changing;
pub mod coordinator;
pub mod curve_picture;
pub mod dates;
mod demo;
pub mod department;
pub mod digits;
pub mod error;
pub mod fields;
pub mod frame;
mod guide;
mod headers;
mod kept;
mod listen;
mod log;
mod mail;
mod metrics;
mod noted;
mod parts;
mod place;
pub mod prep;
mod proving;
mod public;
pub mod rich;
mod sign_in;
mod state;
pub mod student;
mod surround;
#[cfg(test)]
mod tests;
pub mod trials_picture;
pub mod uncertainty;
mod upload;
mod visitor;

use std::any::Any;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::State;
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use tokio::net::TcpListener;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::csrf::{CsrfLayer, ProtectionError};
use tower_http::timeout::TimeoutLayer;

pub use demo::{DemoPerson, DemoRole};
pub use department::MOST_OPEN;
pub use error::{PageError, PageResult};
pub use fields::{Fields, QueryFields};
pub use frame::{Frame, Page};
pub use kept::KeptPages;
pub use metrics::{Metrics, serve_metrics};
pub use place::Place;
pub use public::PublicAddress;
pub use state::{AppState, Clock, Settings};
pub use uncertainty::Uncertainty;
pub use upload::{Upload, UploadedFile, Uploads};
pub use visitor::{
    Anyone, AssistantVisitor, CoordinatorVisitor, PrepVisitor, StaffVisitor, StudentVisitor,
    Visitor,
};

use crate::desk::department::Department;
use crate::words::hexadecimal;

/// How long a request may take, a form sent over poor Wi-Fi included.
const LONGEST_REQUEST: Duration = Duration::from_secs(120);

/// The pages of a course.
pub fn router(state: AppState) -> Router {
    around(pages(&state), state)
}

/// Serves until `stop` is ready, then lets requests under way end.
pub async fn serve(
    state: AppState,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    let proxies = Arc::clone(&state.proxies);
    let pages = department::below_path(&state, router(state.clone()));
    listen::serve(pages, listener, proxies, stop).await
}

/// As [`serve`], all courses of a department; `state` is that of its people, `most` how many courses are in memory at once.
pub async fn serve_courses(
    department: Arc<Department>,
    state: AppState,
    most: usize,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    let proxies = Arc::clone(&state.proxies);
    let pages = department::router(department, state, most);
    listen::serve(pages, listener, proxies, stop).await
}

/// Ready when the process is asked to end: SIGTERM, or Ctrl-C.
pub async fn asked_to_stop() {
    let interrupt = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminate = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            Err(_) => std::future::pending().await,
        }
    };
    #[cfg(not(unix))]
    let terminate = std::future::pending::<()>();
    tokio::select! {
        () = interrupt => {}
        () = terminate => {}
    }
}

fn pages(state: &AppState) -> Router<AppState> {
    let placed = from_fn_with_state(state.clone(), place::put_before);
    // in a department they are the same for all courses
    let sign_in = match state.department {
        Some(_) => sign_in::course_routes(),
        None => sign_in::routes(),
    };
    Router::new()
        .merge(sign_in)
        // a bench has one bar of signal; staff pages hold true values and stay uncompressed, so that no length can tell
        // of them
        .merge(
            student::routes()
                .layer(placed)
                .layer(CompressionLayer::new()),
        )
        .merge(assistant::routes())
        .merge(coordinator::routes())
        .merge(prep::routes())
        .merge(proving::routes())
        .merge(guide::routes())
        .merge(mail::routes())
}

/// Puts the layers around pages, and the files beside them.
fn around(pages: Router<AppState>, state: AppState) -> Router {
    let pages = pages
        .fallback(|| async { PageError::not_found() })
        .layer(upload::own_limits())
        .layer(TimeoutLayer::with_status_code(
            StatusCode::REQUEST_TIMEOUT,
            LONGEST_REQUEST,
        ))
        .layer(from_fn_with_state(state.clone(), noted::write_down))
        .layer(CatchPanicLayer::custom(panicked))
        .layer(
            CsrfLayer::new()
                // platforms post here, by the standard; what they send is signed, and for a launch begun in this browser
                .with_insecure_bypass(|_, uri| ["/lti/login", "/lti/launch"].contains(&uri.path()))
                .with_rejection_response(from_elsewhere),
        )
        .layer(from_fn_with_state(state.clone(), kept::keep))
        .layer(from_fn_with_state(state.clone(), surround::surround))
        .layer(from_fn_with_state(state.clone(), place::put_before));
    Router::new()
        .route("/healthz", get(health))
        .route(
            "/static/{*path}",
            get(assets::serve).layer(CompressionLayer::new()),
        )
        .merge(pages)
        .layer(from_fn_with_state(state.clone(), headers::add))
        .layer(from_fn_with_state(state.clone(), log::request))
        .with_state(state)
}

/// Whether the database answers.
async fn health(State(state): State<AppState>) -> (StatusCode, &'static str) {
    match state.desk.look().await {
        Ok(_) => (StatusCode::OK, "ok"),
        Err(why) => {
            tracing::error!(error = %why, "the database does not answer");
            (
                StatusCode::SERVICE_UNAVAILABLE,
                "the database does not answer",
            )
        }
    }
}

/// A fresh name for a request, so that sending it twice does its work once: 128 random bits in hexadecimal.
pub(crate) fn random_key() -> PageResult<String> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(PageError::internal)?;
    Ok(hexadecimal(&bytes))
}

fn panicked(what: Box<dyn Any + Send>) -> Response {
    let said = what.downcast_ref::<String>().map(String::as_str);
    let said = said.or_else(|| what.downcast_ref::<&str>().copied());
    PageError::internal(format!("panic: {}", said.unwrap_or("without a word"))).into_response()
}

fn from_elsewhere(_: ProtectionError) -> Response {
    PageError::forbidden("The form came from another site, so nothing was changed.").into_response()
}
