//! How a server is told to send mail.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;

use super::Failure;
use super::serve::secret;
use crate::desk::outgoing::Outgoing;
use crate::mail::{Post, PostSettings};

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

impl MailLine {
    /// None where no mail server is named.
    pub fn outgoing(&self, public: Option<&Arc<str>>) -> Result<Option<Outgoing>, Failure> {
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
        Ok(Some(Outgoing::Mail {
            post: Arc::new(post),
            public: Arc::clone(public),
        }))
    }
}
