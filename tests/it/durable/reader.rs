//! Somebody who takes very long over what they take away holds up nobody, and the log beside the file stays short.

use concordant::desk::accounts::{AccountId, Event, Kind, What, note};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::properties::long;
use crate::week;

#[tokio::test(flavor = "multi_thread")]
async fn an_export_that_is_read_slowly_holds_up_no_write() {
    let app = week::app().await;
    let coordinator = app.person("i.quell").await;
    let cookie = coordinator.cookie().expect("a session").to_owned();
    let address = app.address.trim_start_matches("http://").to_owned();
    let mut slow = Vec::new();
    for page in ["/course/export.zip", "/course/results.csv", "/course"] {
        let mut stream = TcpStream::connect(&address).await.expect("a connection");
        let asked = format!("GET {page} HTTP/1.1\r\nhost: {address}\r\ncookie: {cookie}\r\n\r\n");
        stream.write_all(asked.as_bytes()).await.expect("is asked");
        let mut first = [0; 12];
        stream.read_exact(&mut first).await.expect("it begins");
        assert_eq!(&first, b"HTTP/1.1 200", "{page}");
        slow.push(stream);
    }
    let writes = if long() { 10_000 } else { 200 };
    let who = AccountId {
        kind: Kind::Staff,
        login: "i.quell".to_owned(),
    };
    let mut longest = std::time::Duration::ZERO;
    for _ in 0..writes {
        let event = Event {
            at: app.clock.now(),
            what: What::Exported,
            who: Some(&who),
            by: "",
            subject: "/course/export.zip",
            network: "192.0.2.1",
        };
        let begun = std::time::Instant::now();
        note(&app.desk, event).await.expect("is written");
        longest = longest.max(begun.elapsed());
    }
    let log = std::fs::metadata(app.database().with_extension("db-wal")).expect("a log");
    println!(
        "{writes} writes, the slowest {longest:?}, a log of {} KiB",
        log.len() / 1024
    );
    // SQLite folds the log into the file after a thousand pages of 4 KiB
    assert!(log.len() < 8 * 1024 * 1024, "{}", log.len());
    for mut stream in slow {
        let mut rest = [0; 1];
        assert_eq!(stream.read(&mut rest).await.expect("it goes on"), 1);
    }
}
