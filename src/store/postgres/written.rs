//! Servers hear of each other's writes: each write of a course tells the name of its schema, and whoever has the course in
//! memory reads what is new. Nothing rests on it but how soon that is: every look and every change asks for the newest
//! number itself.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use sqlx::postgres::{PgListener, PgPool};
use tokio::sync::broadcast;

use super::super::{Place, Store};
use super::{Database, Schema};

/// The channel that the trigger of the journal tells.
const CHANNEL: &str = "concordant";
/// How soon a server that cannot be reached is tried again.
const AGAIN: Duration = Duration::from_millis(200);

/// What is heard of one course.
pub struct Written {
    name: Arc<str>,
    heard: broadcast::Receiver<Arc<str>>,
}

impl Written {
    /// Waits until the course may have been written to; says whether to go on waiting.
    pub async fn next(&mut self) -> bool {
        loop {
            match self.heard.recv().await {
                Ok(name) if name.is_empty() || name == self.name => break,
                Ok(_) => {}
                Err(broadcast::error::RecvError::Lagged(_)) => break,
                Err(broadcast::error::RecvError::Closed) => return false,
            }
        }
        // one look sees all that was told until now
        while self.heard.try_recv().is_ok() {}
        true
    }
}

impl Store {
    /// Hears of what is written to the course, by this server or another; none of a file.
    pub async fn written(&self) -> Option<Written> {
        match &self.place {
            Place::Sqlite { .. } => None,
            Place::Postgres(Schema { database, name }) => Some(Written {
                name: Arc::clone(name),
                heard: database.heard().await,
            }),
        }
    }
}

/// What is heard of all courses.
pub struct Told(broadcast::Receiver<Arc<str>>);

/// What is told within so long is taken up in one go.
const TOGETHER: Duration = Duration::from_millis(300);

impl Told {
    /// Waits until courses were written to: their keys, an empty one where it may have been any. None where nothing will
    /// be heard any more.
    pub async fn next(&mut self) -> Option<BTreeSet<String>> {
        let mut keys = BTreeSet::new();
        let key = |name: &str| match name.strip_prefix("course_") {
            Some(key) => key.to_owned(),
            // of the people, say, whose journal names the courses
            None if !name.is_empty() => "people".to_owned(),
            None => String::new(),
        };
        match self.0.recv().await {
            Ok(name) => keys.insert(key(&name)),
            Err(broadcast::error::RecvError::Lagged(_)) => keys.insert(String::new()),
            Err(broadcast::error::RecvError::Closed) => return None,
        };
        tokio::time::sleep(TOGETHER).await;
        loop {
            match self.0.try_recv() {
                Ok(name) => keys.insert(key(&name)),
                Err(broadcast::error::TryRecvError::Lagged(_)) => keys.insert(String::new()),
                Err(_) => return Some(keys),
            };
        }
    }
}

impl Database {
    pub(in super::super) async fn told(&self) -> Told {
        Told(self.heard().await)
    }

    async fn heard(&self) -> broadcast::Receiver<Arc<str>> {
        let mut written = self.written.lock().await;
        match &*written {
            Some(sender) => sender.subscribe(),
            None => {
                let (sender, heard) = broadcast::channel(1_024);
                tokio::spawn(listen(self.readers.clone(), sender.clone()));
                *written = Some(sender);
                heard
            }
        }
    }
}

/// Listens until the database is closed.
async fn listen(pool: PgPool, sender: broadcast::Sender<Arc<str>>) {
    let tell = |name: &str| {
        // nobody may have a course open just now
        let _told = sender.send(name.into());
    };
    while !pool.is_closed() {
        let began = async {
            let mut listener = PgListener::connect_with(&pool).await?;
            listener.listen(CHANNEL).await?;
            Ok::<_, sqlx::Error>(listener)
        };
        match began.await {
            Ok(mut listener) => {
                // what was told while nobody listened is heard by looking
                tell("");
                // without a connection, or with one that failed, it is begun anew
                while let Ok(Some(told)) = listener.try_recv().await {
                    tell(told.payload());
                }
            }
            Err(why) => tracing::debug!(error = %why, "the database cannot be listened to"),
        }
        tokio::time::sleep(AGAIN).await;
    }
}
