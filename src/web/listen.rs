//! Connections: how many there may be, and how long one may keep its place without asking for anything.

use std::collections::BTreeMap;
use std::io;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::Router;
use axum::extract::{ConnectInfo, Request};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Notify, OwnedSemaphorePermit, Semaphore, watch};
use tower_http::timeout::TimeoutBody;

/// Most connections at once: half of the 1,024 descriptors a process commonly may have, which the database needs too.
const MOST_CONNECTIONS: usize = 512;
/// Longest time for the head of a request to arrive whole, and for a connection to stay open without one.
const LONGEST_HEAD: Duration = Duration::from_secs(15);
/// Longest pause in the body of a request.
const LONGEST_PAUSE: Duration = Duration::from_secs(20);
/// Most bytes of the head of a request.
const MOST_HEAD: usize = 64 * 1024;
/// How long requests under way may take once the server is asked to stop.
const LONGEST_DRAIN: Duration = Duration::from_secs(30);
/// What a connection that has to make room may still do: end the answer it is reading.
const LAST_WORDS: Duration = Duration::from_secs(1);
/// Pause after a connection could not be taken, such as for want of descriptors.
const BREATH: Duration = Duration::from_millis(50);

/// Serves until `stop` is ready, then lets requests under way end.
pub async fn serve(
    router: Router,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    let open = Arc::new(Open::default());
    let (stopping, stopped) = watch::channel(false);
    tokio::pin!(stop);
    loop {
        let (stream, peer, place) = tokio::select! {
            () = &mut stop => break,
            taken = take(&listener, &open) => taken,
        };
        let serving = Arc::clone(&open).attend(router.clone(), stream, peer, stopped.clone());
        tokio::spawn(async move {
            serving.await;
            drop(place);
        });
    }
    drop(listener);
    // whoever has left hears nothing
    let _left = stopping.send(true);
    let all = u32::try_from(MOST_CONNECTIONS).unwrap_or(u32::MAX);
    if tokio::time::timeout(LONGEST_DRAIN, open.places.acquire_many(all))
        .await
        .is_err()
    {
        tracing::warn!("requests still under way were cut off");
    }
    Ok(())
}

/// The next connection, and its place among those there may be.
async fn take(
    listener: &TcpListener,
    open: &Open,
) -> (TcpStream, SocketAddr, OwnedSemaphorePermit) {
    let place = open.place().await;
    loop {
        match listener.accept().await {
            Ok((stream, peer)) => return (stream, peer, place),
            Err(why) => {
                tracing::warn!(error = %why, "a connection could not be taken");
                tokio::time::sleep(BREATH).await;
            }
        }
    }
}

/// The connections there are.
struct Open {
    places: Arc<Semaphore>,
    begun: Instant,
    next: AtomicU64,
    connections: Mutex<BTreeMap<u64, Arc<Connection>>>,
}

#[derive(Default)]
struct Connection {
    /// Requests under way.
    busy: AtomicUsize,
    /// When it last began or ended one, in milliseconds.
    since: AtomicU64,
    make_room: Notify,
}

impl Default for Open {
    fn default() -> Self {
        Self {
            places: Arc::new(Semaphore::new(MOST_CONNECTIONS)),
            begun: Instant::now(),
            next: AtomicU64::new(0),
            connections: Mutex::default(),
        }
    }
}

impl Open {
    /// A free place. Where there is none, the connection that has been silent longest makes room, so that nobody
    /// keeps others out by opening connections and asking for nothing.
    async fn place(&self) -> OwnedSemaphorePermit {
        loop {
            if let Ok(place) = Arc::clone(&self.places).try_acquire_owned() {
                return place;
            }
            self.make_room();
            let waited = Arc::clone(&self.places).acquire_owned();
            if let Ok(Ok(place)) = tokio::time::timeout(BREATH, waited).await {
                return place;
            }
        }
    }

    fn make_room(&self) {
        let connections = self.connections();
        let silent = connections
            .values()
            .filter(|one| one.busy.load(Ordering::Relaxed) == 0);
        if let Some(one) = silent.min_by_key(|one| one.since.load(Ordering::Relaxed)) {
            one.make_room.notify_one();
            one.since.store(u64::MAX, Ordering::Relaxed);
        }
    }

    /// Answers what one connection asks for.
    async fn attend(
        self: Arc<Self>,
        router: Router,
        stream: TcpStream,
        peer: SocketAddr,
        mut stopped: watch::Receiver<bool>,
    ) {
        // an answer that is late by 40 ms is the only harm
        let _delay = stream.set_nodelay(true);
        let connection = Arc::new(Connection::default());
        connection.since.store(self.now(), Ordering::Relaxed);
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        self.connections().insert(number, Arc::clone(&connection));
        let router = TowerToHyperService::new(router);
        let asked = service_fn(|request: Request<Incoming>| {
            let mut request = request.map(|body| Box::pin(TimeoutBody::new(LONGEST_PAUSE, body)));
            request.extensions_mut().insert(ConnectInfo(peer));
            let under_way = UnderWay::begin(&self, &connection);
            let answer = router.call(request);
            async move {
                let answer = answer.await;
                drop(under_way);
                answer
            }
        });
        let serving = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(LONGEST_HEAD)
            .max_buf_size(MOST_HEAD)
            .serve_connection(TokioIo::new(stream), asked);
        tokio::pin!(serving);
        // a connection that breaks is nothing to tell anybody
        let last_words = tokio::select! {
            _ended = &mut serving => None,
            _stopped = stopped.wait_for(|stopped| *stopped) => Some(LONGEST_DRAIN),
            () = connection.make_room.notified() => Some(LAST_WORDS),
        };
        if let Some(last_words) = last_words {
            serving.as_mut().graceful_shutdown();
            if connection.busy.load(Ordering::Relaxed) == 0 {
                // also where half a head has come, which would be waited for
                let _ended = tokio::time::timeout(LAST_WORDS, &mut serving).await;
            } else {
                let _ended = tokio::time::timeout(last_words, &mut serving).await;
            }
        }
        self.connections().remove(&number);
    }

    fn connections(&self) -> std::sync::MutexGuard<'_, BTreeMap<u64, Arc<Connection>>> {
        self.connections
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    fn now(&self) -> u64 {
        u64::try_from(self.begun.elapsed().as_millis()).unwrap_or(u64::MAX)
    }
}

/// A request under way; over when dropped.
struct UnderWay(Arc<Open>, Arc<Connection>);

impl UnderWay {
    fn begin(open: &Arc<Open>, connection: &Arc<Connection>) -> Self {
        connection.busy.fetch_add(1, Ordering::Relaxed);
        Self(Arc::clone(open), Arc::clone(connection))
    }
}

impl Drop for UnderWay {
    fn drop(&mut self) {
        self.1.since.store(self.0.now(), Ordering::Relaxed);
        self.1.busy.fetch_sub(1, Ordering::Relaxed);
    }
}
