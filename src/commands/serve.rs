//! `serve`.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use tokio::net::TcpListener;

use super::Failure;
use crate::desk::Desk;
use crate::store::Store;
use crate::web::{self, AppState, Settings};

/// Serves a database until it is asked to stop.
pub async fn run(db: &Path, listen: SocketAddr) -> Result<(), Failure> {
    let desk = Arc::new(Desk::open(Store::open(db).await?).await?);
    let listener = bind(listen).await?;
    eprintln!("serving {} on {}", db.display(), address(&listener)?);
    serve(desk, listener).await
}

/// Takes the address.
pub(super) async fn bind(listen: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(listen)
        .await
        .map_err(|why| Failure::Other(format!("cannot listen on {listen}: {why}")))
}

/// Where a browser finds it.
pub(super) fn address(listener: &TcpListener) -> Result<String, Failure> {
    let at = listener
        .local_addr()
        .map_err(|why| Failure::Other(format!("no address: {why}")))?;
    Ok(format!("http://{at}"))
}

/// Serves until it is asked to stop, then ends what is under way.
pub(super) async fn serve(desk: Arc<Desk>, listener: TcpListener) -> Result<(), Failure> {
    let local = listener
        .local_addr()
        .map_err(|why| Failure::Other(format!("no address: {why}")))?;
    let behind_proxy = std::env::var_os("CONCORDANT_BEHIND_PROXY").is_some();
    // plain HTTP is for loopback only; a proxy in front brings TLS
    let settings = Settings {
        secure_cookies: behind_proxy || !local.ip().is_loopback(),
        behind_proxy,
    };
    tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_env_filter(
            tracing_subscriber::EnvFilter::try_from_env("CONCORDANT_LOG")
                .unwrap_or_else(|_| "warn".into()),
        )
        .init();
    let state = AppState::new(Arc::clone(&desk), settings);
    web::serve(state, listener, web::asked_to_stop())
        .await
        .map_err(|why| Failure::Other(format!("the server stopped: {why}")))?;
    if let Some(desk) = Arc::into_inner(desk) {
        desk.close().await;
    }
    Ok(())
}
