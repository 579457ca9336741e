//! How a server is told to send mail, and the task that does.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use tokio::sync::Notify;
use tokio::task::JoinHandle;

use super::Failure;
use super::serve::secret;
use crate::desk::Desk;
use crate::desk::department::{Department, Looked};
use crate::desk::mail::{Passed, pass};
use crate::mail::{Post, PostSettings};
use crate::store::StoreError;
use crate::web::Clock;

/// How often it is looked whether something is to be sent.
const PAUSE: Duration = Duration::from_secs(5);
/// The same, of many courses, each of which has to be looked at.
const PAUSE_OF_ALL: Duration = Duration::from_secs(20);

/// The mail server. Without it no mail is sent.
#[derive(Debug, Args)]
pub struct MailLine {
    /// The mail server: smtps://HOST, or smtp://HOST for STARTTLS, each with :PORT or without
    #[arg(
        long,
        value_name = "ADDRESS",
        env = "CONCORDANT_MAIL_SERVER",
        requires = "mail_from"
    )]
    mail_server: Option<String>,
    /// Whom mails are from, such as “Chemistry lab <lab@example.edu>”
    #[arg(
        long,
        value_name = "ADDRESS",
        env = "CONCORDANT_MAIL_FROM",
        requires = "mail_server"
    )]
    mail_from: Option<String>,
    /// With what name the server signs in to the mail server
    #[arg(
        long,
        value_name = "NAME",
        env = "CONCORDANT_MAIL_USER",
        requires = "mail_password_file"
    )]
    mail_user: Option<String>,
    /// A file with the password that belongs to it
    #[arg(
        long,
        value_name = "FILE",
        env = "CONCORDANT_MAIL_PASSWORD_FILE",
        requires = "mail_user"
    )]
    mail_password_file: Option<PathBuf>,
}

/// A mail server, and where people find the course that the mails speak of.
pub struct Mailing {
    post: Arc<Post>,
    public: Arc<str>,
}

/// The task that sends.
pub struct Mailer {
    post: Arc<Post>,
    wake: Arc<Notify>,
    task: JoinHandle<()>,
}

impl MailLine {
    /// None where no mail server is named.
    pub fn mailing(&self, public: Option<&Arc<str>>) -> Result<Option<Mailing>, Failure> {
        let (Some(server), Some(from)) = (&self.mail_server, &self.mail_from) else {
            return Ok(None);
        };
        let public = public.ok_or_else(|| {
            Failure::Other(
                "--mail-server: found no --public-url, expected the address that mails lead to"
                    .into(),
            )
        })?;
        let file = self.mail_password_file.as_deref();
        let settings = PostSettings {
            server: server.clone(),
            from: from.clone(),
            user: self.mail_user.clone(),
            password: file.map(secret).transpose()?,
        };
        let post = Post::new(settings).map_err(|why| Failure::Other(why.to_string()))?;
        Ok(Some(Mailing {
            post: Arc::new(post),
            public: Arc::clone(public),
        }))
    }
}

impl Mailing {
    /// Sends what a course has to send, until it is stopped.
    pub fn start(self, desk: Arc<Desk>, clock: Clock) -> Mailer {
        let wake = Arc::new(Notify::new());
        let (post, woken) = (Arc::clone(&self.post), Arc::clone(&wake));
        let task = tokio::spawn(async move {
            let mut away = Away::default();
            while !self.post.is_stopping() {
                away.said(pass(&desk, &desk, &self.post, &self.public, clock.now()).await);
                // ended by whichever comes first
                let _waited = tokio::time::timeout(PAUSE, woken.notified()).await;
            }
        });
        Mailer { post, wake, task }
    }

    /// As [`Mailing::start`], of every course of a department.
    pub fn start_for_all(self, department: Arc<Department>, clock: Clock) -> Mailer {
        let wake = Arc::new(Notify::new());
        let (post, woken) = (Arc::clone(&self.post), Arc::clone(&wake));
        let task = tokio::spawn(async move {
            let (mut away, mut seen) = (Away::default(), Looked::default());
            while !self.post.is_stopping() {
                let sending = (&*self.post, &*self.public);
                away.said(department.send_mail(&mut seen, sending, clock.now()).await);
                let _waited = tokio::time::timeout(PAUSE_OF_ALL, woken.notified()).await;
            }
        });
        Mailer { post, wake, task }
    }
}

/// Why the mail server could not be had last.
#[derive(Default)]
struct Away(Option<String>);

impl Away {
    /// Said when it begins, and not every few seconds.
    fn said(&mut self, passed: Result<Passed, StoreError>) {
        match passed {
            Ok(passed) if passed.away.is_some() => {
                if self.0.is_none() {
                    let why = passed.away.as_deref().unwrap_or_default();
                    tracing::warn!(why, "the mail server cannot be had, mail waits");
                }
                self.0 = passed.away;
            }
            Ok(passed) if passed.sent > 0 => self.0 = None,
            Ok(_) => {}
            Err(why) => tracing::error!(error = %why, "mail waits"),
        }
    }
}

impl Mailer {
    /// Lets the mail that is being handed over be taken, and ends.
    pub async fn stop(self) {
        self.post.stop();
        self.wake.notify_one();
        // it has ended either way
        let _ended = self.task.await;
    }
}
