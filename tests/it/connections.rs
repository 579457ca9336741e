//! Strangers cannot keep others out: connections that ask for nothing, and forms made to be slow.

use std::net::SocketAddr;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::timeout;

use crate::app::TestApp;

/// A server with 1,024 descriptors, as a service commonly has.
struct Narrow {
    process: Child,
    address: SocketAddr,
    _directory: tempfile::TempDir,
}

impl Narrow {
    fn start() -> Self {
        let directory = tempfile::tempdir().expect("a directory");
        let command = format!(
            "ulimit -n 1024; exec {} serve --new --listen 127.0.0.1:0 --db {}",
            env!("CARGO_BIN_EXE_concordant"),
            directory.path().join("course.db").display()
        );
        let mut process = Command::new("sh")
            .args(["-c", &command])
            .stderr(Stdio::piped())
            .spawn()
            .expect("the server starts");
        let stderr = process.stderr.take().expect("stderr");
        let mut line = String::new();
        std::io::BufRead::read_line(&mut std::io::BufReader::new(stderr), &mut line)
            .expect("a line");
        let address = line.trim().rsplit('/').next().unwrap_or_default();
        Self {
            process,
            address: address.parse().expect("an address"),
            _directory: directory,
        }
    }
}

impl Drop for Narrow {
    fn drop(&mut self) {
        // already gone if it failed
        let _killed = self.process.kill();
        let _waited = self.process.wait();
    }
}

fn address(app: &TestApp) -> SocketAddr {
    let address = app.address.trim_start_matches("http://");
    address.parse().expect("an address")
}

async fn begun(address: SocketAddr, text: &str) -> TcpStream {
    let mut stream = TcpStream::connect(address).await.expect("a connection");
    stream.write_all(text.as_bytes()).await.expect("sent");
    stream
}

/// How long the other side keeps a connection open.
async fn kept_open(mut stream: TcpStream, at_most: Duration) -> Option<Duration> {
    let begun = Instant::now();
    let mut rest = Vec::new();
    let ended = timeout(at_most, stream.read_to_end(&mut rest)).await;
    ended.ok().map(|_| begun.elapsed())
}

const HALF: &str = "GET /sign-in HTTP/1.1\r\nhost: lab.example\r\nx-slow: ";
const WHOLE: &str = "GET /healthz HTTP/1.1\r\nhost: lab.example\r\nconnection: close\r\n\r\n";

#[tokio::test]
async fn a_thousand_heads_half_sent_keep_nobody_out() {
    let server = Narrow::start();
    let mut halves = Vec::new();
    for _ in 0..1_100 {
        halves.push(begun(server.address, HALF).await);
    }
    let begin = Instant::now();
    let mut stream = begun(server.address, WHOLE).await;
    let mut answer = String::new();
    timeout(Duration::from_secs(5), stream.read_to_string(&mut answer))
        .await
        .expect("an answer in time")
        .expect("an answer");
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    eprintln!(
        "answered beside 1,100 half-sent heads after {:?}",
        begin.elapsed()
    );
}

#[tokio::test]
async fn a_head_or_a_silence_that_lasts_is_cut_off() {
    let app = TestApp::spawn().await;
    let limit = Duration::from_secs(25);
    let silent = begun(address(&app), "").await;
    let half = begun(address(&app), HALF).await;
    let answered = WHOLE.replace("connection: close\r\n", "");
    let idle = begun(address(&app), &answered).await;
    let (silent, half, idle) = tokio::join!(
        kept_open(silent, limit),
        kept_open(half, limit),
        kept_open(idle, limit)
    );
    for (what, kept) in [("silent", silent), ("half a head", half), ("idle", idle)] {
        let kept = kept.unwrap_or_else(|| panic!("{what}: still open after {limit:?}"));
        assert!(
            kept > Duration::from_secs(10),
            "{what}: cut off after {kept:?}"
        );
    }
}

#[tokio::test]
async fn a_body_that_pauses_too_long_is_cut_off() {
    let app = TestApp::spawn().await;
    let head = "POST /sign-in HTTP/1.1\r\nhost: lab.example\r\ncontent-type: application/x-www-form-urlencoded\r\n\
                content-length: 200\r\n\r\nlogin=";
    let paused = begun(address(&app), head).await;
    let limit = Duration::from_secs(60);
    let kept = kept_open(paused, limit).await;
    assert!(kept.is_some(), "still open after {limit:?}");
}

/// A head longer than any of ours.
#[tokio::test]
async fn a_head_without_end_is_refused() {
    let app = TestApp::spawn().await;
    let long = format!("GET /sign-in?{} HTTP/1.1\r\n", "a=1&".repeat(20_000));
    let mut stream = TcpStream::connect(address(&app))
        .await
        .expect("a connection");
    // it may be cut off before all of it is sent
    let _sent = stream.write_all(long.as_bytes()).await;
    let mut answer = [0; 12];
    let read = timeout(Duration::from_secs(10), stream.read(&mut answer)).await;
    let read = read.expect("an end in time").unwrap_or_default();
    assert!(read == 0 || answer.starts_with(b"HTTP/1.1 4"), "{answer:?}");
}

/// 255 KiB of distinct names of fields, six forms at once, beside somebody who asks for a page.
#[tokio::test]
async fn many_fields_cost_nobody_anything() {
    let app = TestApp::spawn().await;
    let mut names = String::new();
    let mut at = 0_u32;
    while names.len() < 255 * 1024 {
        names.push_str(&format!("{at:x}=&"));
        at += 1;
    }
    let send = async |path: &str| {
        let mut person = app.stranger();
        let request = person
            .request(reqwest::Method::POST, path)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(names.clone());
        person.send(request).await.status
    };
    let begin = Instant::now();
    let page = async {
        let status = app.stranger().get("/sign-in").await.status;
        (status, begin.elapsed())
    };
    let (one, two, three, four, five, six, (status, waited)) = tokio::join!(
        send("/sign-in"),
        send("/claim"),
        send("/sign-in"),
        send("/claim"),
        send("/sign-in"),
        send("/claim"),
        page
    );
    let whole = begin.elapsed();
    assert_eq!([one, two, three, four, five, six], [413; 6]);
    assert_eq!(status, 200);
    eprintln!("a page beside six forms of {at} fields: {waited:?}, all of them {whole:?}");
    assert!(whole < Duration::from_secs(3), "{whole:?}");
}

/// So many empty parts weigh nothing, and are counted.
#[tokio::test]
async fn many_parts_are_refused() {
    let app = TestApp::spawn().await;
    let mut coordinator = app.person("i.quell").await;
    let empty = vec![("", ""); 2_001];
    let answer = coordinator
        .post_files("/course/roster/preview", &empty, &[])
        .await;
    assert_eq!(answer.status, 413, "{}", answer.body);
}
