//! The task that brings grades back to platforms.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Notify;
use tokio::task::JoinHandle;

use crate::campus::Services;
use crate::desk::Desk;
use crate::desk::department::{Department, Looked};
use crate::desk::lti::grades::{PassedOn, Place, send_grades};
use crate::store::StoreError;
use crate::web::Clock;

/// How often it is looked whether something is to be sent.
const PAUSE: Duration = Duration::from_secs(5);
/// The same, of many courses, each of which has to be looked at.
const PAUSE_OF_ALL: Duration = Duration::from_secs(20);

/// The task, until it is stopped.
pub struct Returner {
    services: Arc<Services>,
    wake: Arc<Notify>,
    task: JoinHandle<()>,
}

/// Why a platform could not be had last: said when it begins, and not every few seconds.
#[derive(Default)]
struct Away(bool);

impl Returner {
    /// Of one course, which holds its people itself, or of all courses of a department.
    pub fn start(
        (desk, department): (Arc<Desk>, Option<Arc<Department>>),
        services: Arc<Services>,
        clock: Clock,
    ) -> Self {
        let wake = Arc::new(Notify::new());
        let (own, woken) = (Arc::clone(&services), Arc::clone(&wake));
        let task = tokio::spawn(async move {
            let (mut away, mut seen) = (Away::default(), Looked::default());
            let pause = match department {
                Some(_) => PAUSE_OF_ALL,
                None => PAUSE,
            };
            while !own.is_stopping() {
                let at = clock.now();
                away.said(match &department {
                    Some(department) => department.send_grades(&mut seen, &own, at).await,
                    None => {
                        let place = Place {
                            desk: &desk,
                            people: &desk,
                            course: "",
                        };
                        send_grades(place, &own, at).await
                    }
                });
                // ended by whichever comes first
                let _waited = tokio::time::timeout(pause, woken.notified()).await;
            }
        });
        Self {
            services,
            wake,
            task,
        }
    }

    /// Lets the grade that is on its way be taken, and ends.
    pub async fn stop(self) {
        self.services.stop();
        self.wake.notify_one();
        // it has ended either way
        let _ended = self.task.await;
    }
}

impl Away {
    fn said(&mut self, passed: Result<PassedOn, StoreError>) {
        match passed {
            Ok(passed) if passed.away.is_some() => {
                if !self.0 {
                    let why = passed.away.as_deref().unwrap_or_default();
                    tracing::warn!(why, "a platform cannot be had, grades wait");
                }
                self.0 = true;
            }
            Ok(passed) if passed.sent > 0 => self.0 = false,
            Ok(_) => {}
            Err(why) => tracing::error!(error = %why, "grades wait"),
        }
    }
}
