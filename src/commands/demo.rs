//! `demo`: the demonstration course in a fresh database, served.

use std::io::Write;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};

use super::serve::{Beside, LogFormat, address, bind, log_to_stderr, serve, settings};
use super::{Failure, progress};
use crate::course::StaffRole;
use crate::desk::{self, Desk, accounts};
use crate::files;
use crate::store::Store;
use crate::term::Term;
use crate::web::{AppState, DemoPerson, DemoRole};

/// Builds the course, prints the address and one sign-in per role, and serves.
pub async fn run(listen: SocketAddr, keep: Option<PathBuf>) -> Result<(), Failure> {
    let now = Timestamp::now();
    let directory = tempdir()?;
    let file = match &keep {
        Some(file) if file.exists() => {
            return Err(Failure::Other(format!(
                "found a file {}, expected none there",
                file.display()
            )));
        }
        Some(file) => file.clone(),
        None => directory.join("demo.db"),
    };
    let listener = bind(listen).await?;
    log_to_stderr("warn", LogFormat::Text)?;
    progress("building the demo course");
    let desk = Desk::open(Store::open(&file).await?).await?;
    let mut term = files::read_term(&files::demo_folder()).map_err(Failure::Faults)?;
    move_to(&mut term, now);
    desk::bring_in_term(&desk, &term, "demo", now).await?;
    let mut lines = vec![format!("Concordant demo, {}", address(&listener)?)];
    let mut demo = Vec::new();
    for (role, login) in people(&term) {
        let password = password()?;
        accounts::set_password(&desk, &login, &password, now)
            .await
            .map_err(|why| Failure::Other(why.to_string()))?;
        lines.push(format!(
            "  {role:<12} sign in as {login:<10} with {password}"
        ));
        let role = DemoRole::named(role);
        demo.extend(role.map(|role| DemoPerson {
            role,
            login,
            password,
        }));
    }
    lines.push("Everybody and everything in it is invented. Stop with Ctrl-C.".to_owned());
    // said at once and in full, so that a reader who stops early does not end the server
    writeln!(std::io::stdout(), "{}", lines.join("\n"))
        .map_err(|why| Failure::Other(format!("cannot print the sign-ins: {why}")))?;
    let desk = Arc::new(desk);
    // on a network a page that lets everybody in as the coordinator would be one too many
    if !listen.ip().is_loopback() {
        demo.clear();
    }
    let state = AppState {
        demo: demo.into(),
        ..AppState::new(desk, settings(&listener, false)?)
    };
    let done = serve((None, 0), state, listener, Beside::default()).await;
    if keep.is_none() {
        // a demo leaves nothing behind
        let _removed = std::fs::remove_dir_all(&directory);
    }
    done
}

/// A student who has something of everything, an assistant, the coordinator, the prep room.
fn people(term: &Term) -> Vec<(&'static str, String)> {
    let released = |student: &&crate::course::Student| {
        let count = term
            .submissions
            .keys()
            .filter(|slot| slot.student == student.id)
            .count();
        // somebody who still has the last experiment to do
        count.saturating_add(1) == term.experiments.len()
    };
    let student = term
        .students
        .iter()
        .find(released)
        .or_else(|| term.students.first());
    let staff = |role| {
        term.staff
            .iter()
            .find(|s| s.role == role)
            .map(|s| s.login.clone())
    };
    [
        ("student", student.map(|s| s.id.to_string())),
        ("assistant", staff(StaffRole::Assistant)),
        ("coordinator", staff(StaffRole::Coordinator)),
        ("prep", staff(StaffRole::Prep)),
    ]
    .into_iter()
    .filter_map(|(role, login)| Some((role, login?)))
    .collect()
}

/// Moves all dates by whole days, so that the last experiment is due in two to three days: everything handed in for it
/// lies in the past, and what was late elsewhere stays late.
fn move_to(term: &mut Term, now: Timestamp) {
    let due = term.experiments.iter().map(|e| e.dates.due).max();
    let Some(due) = due.and_then(|due| term.course.zone.instant(due)) else {
        return;
    };
    const DAY: i64 = 24 * 60 * 60;
    let days = (now.as_second() - due.as_second()).div_euclid(DAY) + 3;
    let by = SignedDuration::from_secs(days * DAY);
    let moved = |at: Timestamp| at.saturating_add(by).unwrap_or(at);
    for experiment in &mut term.experiments {
        let dates = &mut experiment.dates;
        dates.opens = dates.opens.saturating_add(by);
        dates.due = dates.due.saturating_add(by);
        for own in experiment.section_dates.values_mut() {
            own.opens = own.opens.map(|at| at.saturating_add(by));
            own.due = own.due.map(|at| at.saturating_add(by));
        }
    }
    for life in term.shelf.values_mut() {
        for day in [&mut life.made, &mut life.expires].into_iter().flatten() {
            *day = day.saturating_add(by);
        }
    }
    for revision in term.submissions.values_mut().flatten() {
        revision.submitted_at = revision.submitted_at.map(moved);
        for titration in &mut Arc::make_mut(&mut revision.hand_in).titrations {
            titration.submitted_at = titration.submitted_at.map(moved);
        }
    }
    term.decisions
        .values_mut()
        .flatten()
        .for_each(|decision| decision.at = moved(decision.at));
    for release in term.released.values_mut() {
        release.everyone = release.everyone.map(moved);
        for at in release.sections.values_mut() {
            *at = at.map(moved);
        }
    }
    for extension in term.extensions.values_mut().flatten() {
        extension.due = extension.due.map(|due| due.saturating_add(by));
        extension.at = extension.at.map(moved);
    }
    for reissue in term.reissued.values_mut().flatten() {
        reissue.at = moved(reissue.at);
    }
    for note in term.notes.values_mut().flatten() {
        note.at = moved(note.at);
    }
}

/// A directory of its own under the system's place for temporary files, for this user only.
fn tempdir() -> Result<PathBuf, Failure> {
    let directory = std::env::temp_dir().join(format!("concordant-demo-{}", random_words(4)?));
    let mut builder = std::fs::DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder
        .create(&directory)
        .map_err(|why| Failure::Other(format!("cannot make {}: {why}", directory.display())))?;
    Ok(directory)
}

/// A fresh password: five groups of letters, easy to type.
fn password() -> Result<String, Failure> {
    random_words(5)
}

fn random_words(groups: usize) -> Result<String, Failure> {
    const CONSONANTS: &[u8; 16] = b"bdfghjklmnprstvz";
    const VOWELS: &[u8; 4] = b"aeou";
    let mut bytes = vec![0_u8; groups * 4];
    getrandom::fill(&mut bytes).map_err(|why| Failure::Other(format!("no randomness: {why}")))?;
    let letter = |(place, byte): (usize, &u8)| {
        char::from(if place % 2 == 0 {
            CONSONANTS[usize::from(byte % 16)]
        } else {
            VOWELS[usize::from(byte % 4)]
        })
    };
    let groups: Vec<String> = bytes
        .chunks(4)
        .map(|group| group.iter().enumerate().map(letter).collect())
        .collect();
    Ok(groups.join("-"))
}
