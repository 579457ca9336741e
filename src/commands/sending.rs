//! The tasks that send what goes out: mail, and grades to platforms.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Notify;
use tokio::task::JoinHandle;

use crate::desk::Desk;
use crate::desk::department::{Department, Looked};
use crate::desk::outgoing::{Outgoing, Passed, Place};
use crate::store::StoreError;
use crate::web::Clock;

/// How often it is looked whether something is to be sent.
const PAUSE: Duration = Duration::from_secs(5);
/// The same, of many courses, each of which has to be looked at.
const PAUSE_OF_ALL: Duration = Duration::from_secs(20);

/// A task that sends, until it is stopped.
pub struct Sender {
    what: Arc<Outgoing>,
    wake: Arc<Notify>,
    task: JoinHandle<()>,
}

/// Whether the other server could not be had last: said when it begins, and not every few seconds.
#[derive(Default)]
struct Away(bool);

impl Sender {
    /// Of one course, which holds its people itself, or of all courses of a department.
    pub fn start(
        what: Outgoing,
        (desk, department): (Arc<Desk>, Option<Arc<Department>>),
        clock: Clock,
    ) -> Self {
        let (what, wake) = (Arc::new(what), Arc::new(Notify::new()));
        let (own, woken) = (Arc::clone(&what), Arc::clone(&wake));
        let task = tokio::spawn(async move {
            let (mut away, mut looked) = (Away::default(), Looked::default());
            let pause = match department {
                Some(_) => PAUSE_OF_ALL,
                None => PAUSE,
            };
            while !own.is_stopping() {
                let at = clock.now();
                let passed = match &department {
                    Some(department) => department.send(&mut looked, &own, at).await,
                    None => own.pass(Place::alone(&desk), at).await,
                };
                away.said(&own, passed);
                // ended by whichever comes first
                let _waited = tokio::time::timeout(pause, woken.notified()).await;
            }
        });
        Self { what, wake, task }
    }

    /// Lets what is on its way be taken, and ends.
    pub async fn stop(self) {
        self.what.stop();
        self.wake.notify_one();
        // it has ended either way
        let _ended = self.task.await;
    }
}

impl Away {
    fn said(&mut self, what: &Outgoing, passed: Result<Passed, StoreError>) {
        let what = match what {
            Outgoing::Mail { .. } => "mail",
            Outgoing::Grades(_) => "grades",
        };
        match passed {
            Ok(Passed {
                away: Some(why), ..
            }) => {
                if !self.0 {
                    tracing::warn!(why, what, "a server cannot be had, what goes there waits");
                }
                self.0 = true;
            }
            Ok(passed) if passed.sent > 0 => self.0 = false,
            Ok(_) => {}
            Err(why) => tracing::error!(error = %why, what, "what goes out waits"),
        }
    }
}
