//! The mail server of the institution: the only place that names `lettre`. What is written in mails and to whom, the desk
//! says; here they are handed over, by TLS unless the server is on this machine.

use std::fmt;
use std::net::IpAddr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use lettre::address::Envelope;
use lettre::message::Mailbox;
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::{AsyncSmtpTransport, AsyncSmtpTransportBuilder, Error, PoolConfig};
use lettre::{Address, AsyncTransport, Message, Tokio1Executor};

/// How long the mail server may take for one answer.
const LONGEST: Duration = Duration::from_secs(30);
/// Most characters kept of what a mail server says.
const MOST_SAID: usize = 300;
/// Answers that are about us and not about one mail: authentication (RFC 4954, 6), a server that takes none or closes
/// (RFC 5321, 4.2.3).
const ABOUT_US: [u16; 7] = [421, 454, 500, 502, 530, 534, 535];

/// How the mail server is reached.
#[derive(Clone)]
pub struct PostSettings {
    /// `smtps://HOST`, `smtp://HOST` (which has to offer STARTTLS, unless it is this machine), each with `:PORT` or without.
    pub server: String,
    /// Whom mails are from: an address, or `Name <address>`.
    pub from: String,
    pub user: Option<String>,
    pub password: Option<String>,
}

/// The way to a mail server.
pub struct Post {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
    stopping: AtomicBool,
}

/// One mail.
#[derive(Clone, Debug)]
pub struct Letter {
    pub to: String,
    pub subject: String,
    /// Plain text.
    pub text: String,
    /// Names it for ever, so that one that comes twice is known for the same.
    pub id: String,
}

/// A setting that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct PostFault(String);

/// Why a mail was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unsent {
    /// It never will be.
    Refused(String),
    /// It may be later.
    NotNow(String),
    /// The mail server itself cannot be had now: no other mail will be taken either.
    Away(String),
}

impl Post {
    pub fn new(settings: PostSettings) -> Result<Self, PostFault> {
        let from = settings.from.parse().map_err(|_| {
            fault(
                "--mail-from",
                &settings.from,
                "an address such as lab@example.edu, or Name <lab@example.edu>",
            )
        })?;
        let transport = way(&settings.server)?;
        let transport = match (settings.user, settings.password) {
            (Some(user), Some(password)) => transport.credentials(Credentials::new(user, password)),
            (None, None) => transport,
            _ => {
                return Err(PostFault(
                    "--mail-user: found one of user and password file, expected both or neither"
                        .into(),
                ));
            }
        };
        let pool = PoolConfig::new().max_size(1).idle_timeout(LONGEST);
        Ok(Self {
            transport: transport.timeout(Some(LONGEST)).pool_config(pool).build(),
            from,
            stopping: AtomicBool::new(false),
        })
    }

    /// No further mail is begun.
    pub fn stop(&self) {
        self.stopping.store(true, Ordering::Release);
    }

    pub fn is_stopping(&self) -> bool {
        self.stopping.load(Ordering::Acquire)
    }

    /// Hands a mail over.
    pub async fn send(&self, letter: &Letter) -> Result<(), Unsent> {
        let to: Address = letter.to.parse().map_err(|_| {
            Unsent::Refused(
                "the address cannot be one, expected one such as ada@example.edu".into(),
            )
        })?;
        let refused =
            |why: &dyn fmt::Display| Unsent::Refused(without(&letter.to, why.to_string()));
        let envelope = Envelope::new(Some(self.from.email.clone()), vec![to.clone()]);
        let message = Message::builder()
            .from(self.from.clone())
            .to(Mailbox::new(None, to))
            .subject(letter.subject.clone())
            .message_id(Some(letter.id.clone()))
            .envelope(envelope.map_err(|why| refused(&why))?)
            // RFC 3834, 5: nobody's machine answers
            .raw_header(raw("Auto-Submitted", "auto-generated"))
            .header(ContentType::TEXT_PLAIN)
            .body(letter.text.clone())
            .map_err(|why| refused(&why))?;
        match self.transport.send(message).await {
            Ok(_) => Ok(()),
            Err(why) => Err(unsent(&letter.to, &why)),
        }
    }
}

/// Whether a text can be an address.
pub fn is_address(text: &str) -> bool {
    text.parse::<Address>().is_ok()
}

/// The way to a server, with TLS or to this machine alone.
fn way(server: &str) -> Result<AsyncSmtpTransportBuilder, PostFault> {
    let refused = || {
        fault(
            "--mail-server",
            server,
            "smtps://HOST, or smtp://HOST for STARTTLS, each with :PORT or without",
        )
    };
    let (within, rest) = match (
        server.strip_prefix("smtps://"),
        server.strip_prefix("smtp://"),
    ) {
        (Some(rest), _) => (true, rest),
        (_, Some(rest)) => (false, rest),
        _ => return Err(refused()),
    };
    let (host, port) = match rest.rsplit_once(':') {
        Some((host, port)) if !port.ends_with(']') => {
            (host, Some(port.parse::<u16>().map_err(|_| refused())?))
        }
        _ => (rest, None),
    };
    let known = |c: char| c.is_ascii_alphanumeric() || "-.:[]".contains(c);
    if host.is_empty() || !host.chars().all(known) {
        return Err(refused());
    }
    let host = host.trim_matches(['[', ']']);
    type Transport = AsyncSmtpTransport<Tokio1Executor>;
    let transport = if within {
        Transport::relay(host)
    } else if is_here(host) {
        // nobody listens between two programs of one machine
        Ok(Transport::builder_dangerous(host))
    } else {
        Transport::starttls_relay(host)
    };
    let transport = transport.map_err(|why| PostFault(format!("--mail-server: {why}")))?;
    Ok(port.into_iter().fold(transport, |t, port| t.port(port)))
}

fn is_here(host: &str) -> bool {
    host == "localhost" || host.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

fn fault(flag: &str, found: &str, expected: &str) -> PostFault {
    PostFault(format!(
        "{flag}: found \u{201c}{found}\u{201d}, expected {expected}"
    ))
}

fn raw(name: &'static str, value: &str) -> HeaderValue {
    HeaderValue::new(HeaderName::new_from_ascii_str(name), value.to_owned())
}

/// What an answer means for the mail, in words without the address.
fn unsent(to: &str, why: &Error) -> Unsent {
    let code = why.status().map(u16::from);
    let said = without(to, said(why));
    match code {
        None => Unsent::Away(said),
        Some(code) if ABOUT_US.contains(&code) => Unsent::Away(said),
        Some(_) if why.is_permanent() => Unsent::Refused(said),
        Some(_) => Unsent::NotNow(said),
    }
}

/// The whole of an error, its causes too.
fn said(why: &Error) -> String {
    let mut said = why.to_string();
    let mut cause = std::error::Error::source(why);
    while let Some(why) = cause {
        let more = why.to_string();
        if !said.contains(&more) {
            said = format!("{said}: {more}");
        }
        cause = why.source();
    }
    said
}

/// In one line, and without the address, which servers like to repeat.
fn without(address: &str, said: String) -> String {
    let said: String = said
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    let lower = said.to_lowercase();
    let sought = address.to_lowercase();
    // lengths differ between cases in few languages: then nothing of it is kept
    let said = if sought.is_empty() || !lower.contains(&sought) {
        said
    } else if lower.len() == said.len() {
        let mut kept = String::new();
        let mut from = 0;
        for (at, part) in lower.match_indices(&sought) {
            kept.push_str(said.get(from..at).unwrap_or_default());
            kept.push_str("the address");
            from = at + part.len();
        }
        kept.push_str(said.get(from..).unwrap_or_default());
        kept
    } else {
        "it named the address and no more is kept of what it said".to_owned()
    };
    said.chars().take(MOST_SAID).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_server_says_is_kept_without_the_address() {
        let said = "permanent error (550): <Ada@Example.edu> unknown\r\n".to_owned();
        let kept = without("ada@example.edu", said);
        assert_eq!(kept.trim(), "permanent error (550): <the address> unknown");
    }

    #[test]
    fn a_server_is_named_with_its_kind_of_tls() {
        for good in [
            "smtps://mail.example.edu",
            "smtp://mail.example.edu:587",
            "smtp://127.0.0.1:2525",
            "smtp://[::1]:25",
        ] {
            assert!(way(good).is_ok(), "{good}");
        }
        for bad in [
            "mail.example.edu",
            "smtp://",
            "smtp://a:b",
            "http://a",
            "smtp://a/b",
        ] {
            let why = way(bad).map(|_| ()).expect_err(bad).to_string();
            assert!(why.starts_with("--mail-server: found \u{201c}"), "{why}");
        }
    }
}
