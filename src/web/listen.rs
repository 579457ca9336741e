//! Connections: how many there may be, and how long one may keep its place without asking for anything.

use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, SocketAddr};
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
/// So many of them may be busy for one host that is no proxy of ours, once there is no room for others.
const MOST_OF_ONE: usize = MOST_CONNECTIONS / 8;
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
    proxies: Arc<[IpAddr]>,
    stop: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    let open = Arc::new(Open::new(proxies));
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
    /// Hosts that speak for many.
    proxies: Arc<[IpAddr]>,
    places: Arc<Semaphore>,
    begun: Instant,
    next: AtomicU64,
    connections: Mutex<BTreeMap<u64, Arc<Connection>>>,
}

struct Connection {
    peer: IpAddr,
    /// Requests under way.
    busy: AtomicUsize,
    /// When it last began or ended one, in milliseconds.
    since: AtomicU64,
    make_room: Notify,
}

impl Open {
    fn new(proxies: Arc<[IpAddr]>) -> Self {
        Self {
            proxies,
            places: Arc::new(Semaphore::new(MOST_CONNECTIONS)),
            begun: Instant::now(),
            next: AtomicU64::new(0),
            connections: Mutex::default(),
        }
    }

    /// A free place. Where there is none, the connection that has been silent longest makes room, so that nobody
    /// keeps others out by opening connections and asking for nothing, or by sending a form as slowly as is allowed.
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
        } else if let Some(one) = self.longest_of_the_busiest(&connections) {
            one.make_room.notify_one();
            one.since.store(u64::MAX, Ordering::Relaxed);
        }
    }

    /// The connection that has been busy longest of the host that keeps most of them busy, if those are too many.
    fn longest_of_the_busiest<'c>(
        &self,
        connections: &'c BTreeMap<u64, Arc<Connection>>,
    ) -> Option<&'c Arc<Connection>> {
        let mut by_host: BTreeMap<IpAddr, Vec<&Arc<Connection>>> = BTreeMap::new();
        let speaks_for_many = |peer: &IpAddr| peer.is_loopback() || self.proxies.contains(peer);
        let all = connections.values();
        for one in all.filter(|one| !speaks_for_many(&one.peer)) {
            by_host.entry(one.peer).or_default().push(one);
        }
        let busiest = by_host.into_values().max_by_key(Vec::len)?;
        let many = busiest.len() > MOST_OF_ONE;
        let since = |one: &&Arc<Connection>| one.since.load(Ordering::Relaxed);
        busiest.into_iter().filter(|_| many).min_by_key(since)
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
        let connection = Arc::new(Connection {
            peer: peer.ip().to_canonical(),
            busy: AtomicUsize::new(0),
            since: AtomicU64::new(self.now()),
            make_room: Notify::new(),
        });
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

#[cfg(test)]
mod tests {
    use super::*;

    fn connections(hosts: &[(&str, usize)]) -> BTreeMap<u64, Arc<Connection>> {
        let all = hosts
            .iter()
            .flat_map(|(host, many)| (0..*many).map(move |_| host));
        let one = |(number, host): (u64, &&str)| {
            let connection = Connection {
                peer: host.parse().expect("an address"),
                busy: AtomicUsize::new(1),
                since: AtomicU64::new(number),
                make_room: Notify::new(),
            };
            (number, Arc::new(connection))
        };
        (0..).zip(all).map(one).collect()
    }

    /// Whoever keeps most places busy gives one up; a proxy, or a class that shares an address, does not.
    #[test]
    fn one_host_does_not_keep_everybody_out() {
        let proxy: IpAddr = "10.0.0.5".parse().expect("an address");
        let open = Open::new(Arc::new([proxy]));
        let host_of = |hosts: &[(&str, usize)]| {
            let all = connections(hosts);
            open.longest_of_the_busiest(&all)
                .map(|one| (one.peer.to_string(), one.since.load(Ordering::Relaxed)))
        };
        let held = [
            ("198.51.100.7", 40),
            ("203.0.113.9", 400),
            ("10.0.0.5", 500),
        ];
        assert_eq!(host_of(&held), Some(("203.0.113.9".to_owned(), 40)));
        let fair = [
            ("198.51.100.7", 40),
            ("203.0.113.9", 64),
            ("127.0.0.1", 500),
        ];
        assert_eq!(host_of(&fair), None);
    }
}
