//! A mail server for tests: the dialogue of RFC 5321, as strict as its text, which keeps what it takes and can refuse, break
//! off and go away.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

/// A mail that was taken.
#[derive(Clone, Debug)]
pub struct Caught {
    pub to: String,
    /// As it was sent, dots taken out.
    pub raw: String,
}

/// How the server behaves.
#[derive(Clone, Debug, Default)]
pub struct Mood {
    /// What RCPT is answered with, by address; 250 for all others.
    pub answers: BTreeMap<String, String>,
    /// What everybody is greeted with in place of 220.
    pub greeting: Option<String>,
    /// Closes once it has a mail, and says nothing.
    pub hangs_up: bool,
    /// How long it thinks before it says that it took a mail.
    pub slow: Duration,
    /// User and password that it asks for.
    pub password: Option<(String, String)>,
}

pub struct Catcher {
    pub port: u16,
    pub mood: Arc<Mutex<Mood>>,
    caught: Arc<Mutex<Vec<Caught>>>,
    /// What was said that the standard forbids.
    faults: Arc<Mutex<Vec<String>>>,
    task: Option<JoinHandle<()>>,
}

impl Catcher {
    pub async fn start() -> Self {
        let mut catcher = Self {
            port: 0,
            mood: Arc::default(),
            caught: Arc::default(),
            faults: Arc::default(),
            task: None,
        };
        catcher.come_back().await;
        catcher
    }

    /// Where it is, as `--mail-server` has it.
    pub fn server(&self) -> String {
        format!("smtp://127.0.0.1:{}", self.port)
    }

    /// Listens no more.
    pub async fn go_away(&mut self) {
        if let Some(task) = self.task.take() {
            task.abort();
            // it has ended, and its port is free
            let _ended = task.await;
        }
    }

    /// Listens again where it did.
    pub async fn come_back(&mut self) {
        let listener = TcpListener::bind(("127.0.0.1", self.port))
            .await
            .expect("a port");
        self.port = listener.local_addr().expect("an address").port();
        let (mood, caught, faults) = (
            Arc::clone(&self.mood),
            Arc::clone(&self.caught),
            Arc::clone(&self.faults),
        );
        self.task = Some(tokio::spawn(async move {
            let mut talks = tokio::task::JoinSet::new();
            while let Ok((stream, _)) = listener.accept().await {
                let dialogue = Dialogue {
                    mood: Arc::clone(&mood),
                    caught: Arc::clone(&caught),
                    faults: Arc::clone(&faults),
                };
                talks.spawn(async move {
                    // whoever hangs up has hung up
                    let _done = dialogue.talk(stream).await;
                });
            }
        }));
    }

    pub fn set(&self, change: impl FnOnce(&mut Mood)) {
        change(&mut self.mood.lock().expect("is sound"));
    }

    /// What it took so far. Nothing that the standard forbids was said.
    pub fn caught(&self) -> Vec<Caught> {
        let faults = self.faults.lock().expect("is sound");
        assert!(faults.is_empty(), "{faults:?}");
        self.caught.lock().expect("is sound").clone()
    }

    /// The same, and forgotten here.
    pub fn take(&self) -> Vec<Caught> {
        let caught = self.caught();
        self.caught.lock().expect("is sound").clear();
        caught
    }
}

impl Drop for Catcher {
    fn drop(&mut self) {
        if let Some(task) = &self.task {
            task.abort();
        }
    }
}

struct Dialogue {
    mood: Arc<Mutex<Mood>>,
    caught: Arc<Mutex<Vec<Caught>>>,
    faults: Arc<Mutex<Vec<String>>>,
}

impl Dialogue {
    fn mood(&self) -> Mood {
        self.mood.lock().expect("is sound").clone()
    }

    fn fault(&self, what: impl Into<String>) {
        self.faults.lock().expect("is sound").push(what.into());
    }

    async fn talk(&self, stream: TcpStream) -> std::io::Result<()> {
        let (read, mut write) = stream.into_split();
        let mut read = BufReader::new(read);
        let greeting = self.mood().greeting;
        let greeting = greeting.unwrap_or_else(|| "220 catcher ready".into());
        write
            .write_all(format!("{greeting}\r\n").as_bytes())
            .await?;
        let (mut greeted, mut known, mut from, mut to) = (false, false, false, Vec::new());
        loop {
            let line = self.line(&mut read).await?;
            let Some(line) = line else { return Ok(()) };
            let verb = line
                .split([' ', ':'])
                .next()
                .unwrap_or_default()
                .to_uppercase();
            let asked = self.mood().password;
            let answer = match verb.as_str() {
                "EHLO" => {
                    // 4.1.1.1: with the name of the client
                    if line.len() < 6 {
                        self.fault("EHLO without a name");
                    }
                    greeted = true;
                    "250-catcher\r\n250-8BITMIME\r\n250 AUTH PLAIN".to_owned()
                }
                "AUTH" => {
                    let given = line.split(' ').nth(2).unwrap_or_default();
                    let given = STANDARD.decode(given).unwrap_or_default();
                    // RFC 4616: authorisation, name, password with nulls between
                    let given = String::from_utf8_lossy(&given).into_owned();
                    let right = asked.map(|(user, password)| format!("\0{user}\0{password}"));
                    known = right.is_some_and(|right| right == given);
                    (if known { "235 ok" } else { "535 5.7.8 wrong" }).to_owned()
                }
                "MAIL" if greeted && asked.is_some() && !known => "530 5.7.0 sign in".to_owned(),
                "MAIL" if greeted && line.to_uppercase().starts_with("MAIL FROM:<") => {
                    (from, to) = (true, Vec::new());
                    "250 ok".to_owned()
                }
                "RCPT" if from => {
                    let address = line.split(['<', '>']).nth(1).unwrap_or_default().to_owned();
                    let answer = self.mood().answers.get(&address).cloned();
                    if answer.is_none() {
                        to.push(address);
                    }
                    answer.unwrap_or_else(|| "250 ok".into())
                }
                "DATA" if !to.is_empty() => {
                    write.write_all(b"354 go on\r\n").await?;
                    let Some(raw) = self.mail(&mut read).await? else {
                        return Ok(());
                    };
                    let mood = self.mood();
                    tokio::time::sleep(mood.slow).await;
                    let mails = to.drain(..).map(|to| Caught {
                        to,
                        raw: raw.clone(),
                    });
                    self.caught.lock().expect("is sound").extend(mails);
                    from = false;
                    if mood.hangs_up {
                        return Ok(());
                    }
                    "250 taken".to_owned()
                }
                "NOOP" => "250 ok".to_owned(),
                "RSET" => {
                    from = false;
                    "250 ok".to_owned()
                }
                "QUIT" => {
                    write.write_all(b"221 bye\r\n").await?;
                    return Ok(());
                }
                _ => {
                    self.fault(format!("out of turn: {line}"));
                    "503 out of turn".to_owned()
                }
            };
            write.write_all(format!("{answer}\r\n").as_bytes()).await?;
        }
    }

    /// A line without its end; none where the client has hung up.
    async fn line<R: AsyncReadExt + Unpin>(
        &self,
        read: &mut BufReader<R>,
    ) -> std::io::Result<Option<String>> {
        let mut line = Vec::new();
        if read.read_until(b'\n', &mut line).await? == 0 {
            return Ok(None);
        }
        // 2.3.8: CR LF and nothing else ends a line; 4.5.3.1.6: at most 1,000 octets with it
        let text = String::from_utf8(line).expect("is text");
        match text.strip_suffix("\r\n") {
            Some(line) if !line.contains(['\r', '\n']) && text.len() <= 1_000 => {
                Ok(Some(line.to_owned()))
            }
            _ => {
                self.fault(format!("no line: {text:?}"));
                Ok(Some(text))
            }
        }
    }

    async fn mail<R: AsyncReadExt + Unpin>(
        &self,
        read: &mut BufReader<R>,
    ) -> std::io::Result<Option<String>> {
        let mut mail = String::new();
        while let Some(line) = self.line(read).await? {
            if line == "." {
                return Ok(Some(mail));
            }
            // 4.5.2: a dot that begins a line was doubled
            mail.push_str(line.strip_prefix('.').unwrap_or(&line));
            mail.push_str("\r\n");
        }
        Ok(None)
    }
}

impl Caught {
    /// A header, unfolded (RFC 5322, 2.2.3); empty if it is not there.
    pub fn header(&self, name: &str) -> String {
        let head = self.raw.split("\r\n\r\n").next().unwrap_or_default();
        let head = head.replace("\r\n ", " ").replace("\r\n\t", " ");
        let prefix = format!("{}:", name.to_lowercase());
        let found = head
            .lines()
            .find(|line| line.to_lowercase().starts_with(&prefix));
        found.map_or_else(String::new, |line| line[prefix.len()..].trim().to_owned())
    }

    /// The text as its reader has it.
    pub fn text(&self) -> String {
        let body = self.raw.split_once("\r\n\r\n").map_or("", |(_, body)| body);
        match self
            .header("Content-Transfer-Encoding")
            .to_lowercase()
            .as_str()
        {
            "quoted-printable" => quoted(body),
            "base64" => {
                let packed: String = body.split_whitespace().collect();
                String::from_utf8(STANDARD.decode(packed).expect("is base64")).expect("is text")
            }
            _ => body.replace("\r\n", "\n"),
        }
    }
}

/// RFC 2045, 6.7.
fn quoted(body: &str) -> String {
    let body = body.replace("=\r\n", "").replace("\r\n", "\n");
    let mut bytes = Vec::new();
    let mut rest = body.bytes();
    while let Some(byte) = rest.next() {
        if byte == b'=' {
            let pair = [rest.next(), rest.next()].map(|b| char::from(b.expect("two digits")));
            let pair: String = pair.into_iter().collect();
            bytes.push(u8::from_str_radix(&pair, 16).expect("two digits"));
        } else {
            bytes.push(byte);
        }
    }
    String::from_utf8(bytes).expect("is text")
}
