//! Many courses in one server: who is what in which of them, how one begins, is closed and put by, and where pages stand.

mod earlier;
mod journeys;
mod languages;
mod matrix;
mod one_person;
mod platform;
pub mod two_years;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use concordant::changes::Change;
use concordant::course::{Course, StaffMember, StaffRole, Zone};
use concordant::desk::accounts::{By, issue_claim_codes};
use concordant::desk::department::Department;
use concordant::files::{Folder, read_term};
use concordant::ids::CourseKey;
use concordant::web::{AppState, Clock, Place, Settings, serve_courses};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::oneshot;

use crate::app::Person;
use crate::{access, week};

/// Who runs the department.
pub const HEAD: &str = "d.wren";

/// A server of two courses, gone when dropped. Ada Fennimore, 0042, is a student of both; Bo Tarn assists section A of
/// `alpha` and coordinates `beta`; Iris Quell coordinates `alpha` and is nobody in `beta`.
pub struct TestDepartment {
    pub address: String,
    pub department: Arc<Department>,
    pub clock: Clock,
    pub folder: PathBuf,
    _directory: Option<TempDir>,
    _stop: oneshot::Sender<()>,
}

/// The other course: its own people, and points of its own.
fn beta() -> Folder {
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        let text = String::from_utf8(bytes.to_vec()).expect("is text");
        let text = match path {
            "roster.csv" => "student_id,family_name,given_name,section\n0042,Fennimore,Ada,C\n0077,Lund,Noor,C\n".to_owned(),
            "staff.csv" => "login,name,role,sections\nb.tarn,Bo Tarn,coordinator,\nk.holm,Kim Holm,assistant,C\n".to_owned(),
            "issued.csv" => "experiment,student_id,unknown\nacid,0042,U-2\nacid,0077,U-1\n".to_owned(),
            "course.toml" => text.replace("Quantitative analysis", "Water analysis"),
            _ => text,
        };
        folder.insert(path, text.into_bytes()).expect("room");
    }
    folder
}

fn member(login: &str, name: &str) -> StaffMember {
    StaffMember {
        login: login.into(),
        name: name.into(),
        role: StaffRole::Coordinator,
        sections: Vec::new(),
    }
}

impl TestDepartment {
    pub async fn spawn() -> Self {
        Self::spawn_below("", 16).await
    }

    /// Below a path that a proxy puts before it; so many courses are held in memory.
    pub async fn spawn_below(before: &str, most: usize) -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let folder = directory.path().join("courses");
        found(&folder).await;
        let mut spawned = Self::serve(&folder, before, most).await;
        spawned._directory = Some(directory);
        spawned
    }

    /// Serves a folder that is there.
    pub async fn serve(folder: &Path, before: &str, most: usize) -> Self {
        let clock = Clock::default();
        let department = Department::open(folder, clock.now()).await;
        let department = Arc::new(department.expect("a department"));
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = format!("http://{}", listener.local_addr().expect("an address"));
        let state = AppState {
            clock: clock.clone(),
            place: Place::below(before),
            ..AppState::new(Arc::clone(department.people()), Settings::default())
        };
        let (stop, stopped) = oneshot::channel();
        let until = async move {
            // dropping the sender stops the server as well
            let _dropped = stopped.await;
        };
        tokio::spawn(serve_courses(
            Arc::clone(&department),
            state,
            most,
            listener,
            until,
        ));
        Self {
            address,
            department,
            clock,
            folder: folder.to_owned(),
            _directory: None,
            _stop: stop,
        }
    }

    /// Stops it; its folder stays as long as what is returned.
    pub fn stop(self) -> (Option<TempDir>, PathBuf) {
        (self._directory, self.folder)
    }

    pub fn stranger(&self) -> Person {
        Person::at(&self.address)
    }

    /// A fresh claim code.
    pub async fn code_for(&self, login: &str) -> String {
        let logins = [login.to_owned()];
        let people = self.department.people();
        let issued = issue_claim_codes(people, &logins, By::COMMAND_LINE, self.clock.now()).await;
        issued.expect("a code").remove(0).code
    }

    /// Somebody who has claimed their account and is signed in.
    pub async fn person(&self, login: &str) -> Person {
        let code = self.code_for(login).await;
        self.stranger().claimed(login, &code).await
    }
}

async fn found(folder: &Path) {
    let courses = vec![
        ("alpha", access::folder(), member("i.quell", "Iris Quell")),
        ("beta", beta(), member("b.tarn", "Bo Tarn")),
    ];
    founded(folder, courses).await;
}

/// Makes a folder of these courses.
async fn founded(folder: &Path, courses: Vec<(&str, Folder, StaffMember)>) {
    let now = Clock::default().now();
    let course = Course {
        title: "Analytical laboratory".into(),
        term: String::new(),
        zone: Zone::new("Europe/Lisbon").expect("is a zone"),
        language: Default::default(),
    };
    Department::found(folder, course, now)
        .await
        .expect("a folder");
    let department = Department::open(folder, now).await.expect("a department");
    let head = vec![Change::Staff(member(HEAD, "Dana Wren"))];
    let made = department.people().apply(head, "test", now).await;
    made.expect("somebody who runs it");
    for (key, files, coordinator) in courses {
        let term = read_term(&files).expect("a course");
        let key = CourseKey::new(key);
        let begun = department.begin(&key, term, coordinator, ("test", now));
        begun.await.expect("a course");
    }
}
