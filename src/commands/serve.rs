//! `serve`.

use std::net::{IpAddr, SocketAddr};
use std::path::Path;
use std::sync::Arc;

use tokio::net::TcpListener;
use tracing::level_filters::LevelFilter;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;

use super::{Failure, open_or_make};
use crate::desk::Desk;
use crate::web::{self, AppState, Settings};

/// Serves a database until it is asked to stop.
pub async fn run(
    (db, new): (&Path, bool),
    listen: SocketAddr,
    public: Option<&str>,
) -> Result<(), Failure> {
    let public = public.map(public_address).transpose()?;
    log_to_stderr();
    let store = open_or_make((db, new)).await?;
    store.check_pages().await?;
    let desk = Arc::new(Desk::open(store).await?);
    let listener = bind(listen).await?;
    eprintln!("serving {} on {}", db.display(), address(&listener)?);
    serve(desk, listener, public).await
}

/// Begins the log. Before the desk is opened, which may have something to say.
pub(super) fn log_to_stderr() {
    // targets and levels, not patterns: those would be the one reason for a regex engine in the build
    let wanted = std::env::var("CONCORDANT_LOG").ok();
    let wanted = wanted.and_then(|wanted| wanted.parse::<Targets>().ok());
    tracing_subscriber::fmt()
        .with_max_level(LevelFilter::TRACE)
        .with_writer(std::io::stderr)
        .finish()
        .with(wanted.unwrap_or_else(|| Targets::new().with_default(LevelFilter::WARN)))
        .init();
}

/// Takes the address.
pub(super) async fn bind(listen: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(listen)
        .await
        .map_err(|why| Failure::Other(format!("cannot listen on {listen}: {why}")))
}

/// The address that labels carry: scheme and host, without a path.
pub(super) fn public_address(text: &str) -> Result<Arc<str>, Failure> {
    let text = text.trim().trim_end_matches('/');
    let host = text
        .strip_prefix("https://")
        .or_else(|| text.strip_prefix("http://"));
    let is_host = |host: &str| {
        let known = |c: char| c.is_ascii_alphanumeric() || "-.:[]".contains(c);
        !host.is_empty() && host.chars().all(known)
    };
    if host.is_some_and(is_host) {
        Ok(text.into())
    } else {
        Err(Failure::Other(format!(
            "--public-url: found \u{201c}{text}\u{201d}, expected an address such as https://lab.example.edu, without a path"
        )))
    }
}

/// Where a browser finds it.
pub(super) fn address(listener: &TcpListener) -> Result<String, Failure> {
    let at = listener
        .local_addr()
        .map_err(|why| Failure::Other(format!("no address: {why}")))?;
    Ok(format!("http://{at}"))
}

/// Whether a proxy stands in front, and which are believed that are not on this machine.
fn proxies(text: &str) -> Result<(bool, Arc<[IpAddr]>), Failure> {
    match text.trim().to_lowercase().as_str() {
        "" | "0" | "no" | "false" | "off" => return Ok((false, Arc::new([]))),
        "1" | "yes" | "true" | "on" => return Ok((true, Arc::new([]))),
        _ => {}
    }
    let named = text.split([',', ' ']).filter(|one| !one.is_empty());
    let named = named.map(|one| {
        let address = one.parse::<IpAddr>().map(|address| address.to_canonical());
        address.map_err(|_| {
            Failure::Other(format!(
                "CONCORDANT_BEHIND_PROXY: found \u{201c}{one}\u{201d}, expected 0, 1 for a proxy on this machine, or the addresses of proxies"
            ))
        })
    });
    Ok((true, named.collect::<Result<_, _>>()?))
}

/// Serves until it is asked to stop, then ends what is under way.
pub(super) async fn serve(
    desk: Arc<Desk>,
    listener: TcpListener,
    public: Option<Arc<str>>,
) -> Result<(), Failure> {
    let local = listener
        .local_addr()
        .map_err(|why| Failure::Other(format!("no address: {why}")))?;
    let (behind_proxy, proxies) =
        proxies(&std::env::var("CONCORDANT_BEHIND_PROXY").unwrap_or_default())?;
    if !behind_proxy && !local.ip().is_loopback() {
        eprintln!(
            "{local} is open to the network by plain HTTP, over which browsers keep nobody signed in: put a proxy that speaks TLS in front and set CONCORDANT_BEHIND_PROXY, or listen on 127.0.0.1"
        );
    }
    // plain HTTP is for loopback only; a proxy in front brings TLS
    let settings = Settings {
        secure_cookies: behind_proxy || !local.ip().is_loopback(),
        behind_proxy,
    };
    let state = AppState {
        public_address: public,
        proxies,
        ..AppState::new(Arc::clone(&desk), settings)
    };
    web::serve(state, listener, web::asked_to_stop())
        .await
        .map_err(|why| Failure::Other(format!("the server stopped: {why}")))?;
    if let Some(desk) = Arc::into_inner(desk) {
        desk.close().await;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_proxy_is_believed_unless_it_is_meant() {
        for (text, behind, named) in [
            ("", false, ""),
            ("0", false, ""),
            ("False", false, ""),
            ("no", false, ""),
            ("1", true, ""),
            ("10.0.0.5, 2001:db8::7", true, "10.0.0.5 2001:db8::7"),
        ] {
            let (found, proxies) = proxies(text).expect(text);
            let proxies: Vec<String> = proxies.iter().map(ToString::to_string).collect();
            assert_eq!(
                (found, proxies.join(" ")),
                (behind, named.to_owned()),
                "{text}"
            );
        }
        let why = proxies("10.0.0.5,nginx")
            .expect_err("is no address")
            .to_string();
        assert!(why.contains("\u{201c}nginx\u{201d}"), "{why}");
    }
}
