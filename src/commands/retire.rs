//! `retire` and `restore`.

use std::path::{Path, PathBuf};

use clap::Args;
use jiff::{Timestamp, civil};

use super::{Failure, expect_file, open_existing, progress};
use crate::desk::accounts::By;
use crate::desk::{Desk, Retirement, go_on, retirable, retire};
use crate::ids::StudentId;
use crate::store::{Shelf, Store, first_difference, remove_database, texts_in_the_journal};
use crate::words::counted;

/// What is to be taken out.
#[derive(Debug, Args)]
pub struct RetireLine {
    /// The database file
    #[arg(long, value_name = "FILE")]
    db: PathBuf,
    /// Take out only what nothing happened to on this day or later, such as 2027-08-01
    #[arg(long, value_name = "DATE")]
    before: civil::Date,
    /// Of this student only; may be given many times
    #[arg(long = "student", value_name = "ID")]
    students: Vec<String>,
    /// Take out notes and reasons alone, and leave who the students are
    #[arg(long)]
    texts_only: bool,
    /// Do it; without it what would be taken out is printed, and nothing is changed
    #[arg(long)]
    yes: bool,
}

/// Takes out for good who students are and what was written about them.
pub async fn run(line: RetireLine) -> Result<(), Failure> {
    let desk = Desk::open(open_existing(&line.db).await?).await?;
    let asked = Retirement {
        before: line.before,
        students: line
            .students
            .iter()
            .map(|id| StudentId::new(id.as_str()))
            .collect(),
        texts_only: line.texts_only,
    };
    let failed = |why: crate::desk::RetireError| Failure::Other(why.to_string());
    let what = if asked.texts_only {
        "notes and reasons"
    } else {
        "numbers, names, addresses, accounts, notes and reasons"
    };
    if !line.yes {
        let students = retirable(&desk, &asked).await.map_err(failed)?;
        let students = counted(students.len(), "student", "students");
        println!("would take out the {what} of {students} for good; --yes does it");
        desk.close().await;
        return Ok(());
    }
    let students = retire(&desk, &asked, By::COMMAND_LINE, Timestamp::now());
    let students = students.await.map_err(failed)?;
    let students = counted(students.len(), "student", "students");
    let mut reader = desk.store().read().await?;
    let difference = first_difference(&mut reader).await?;
    let left = texts_in_the_journal(&mut reader).await?;
    drop(reader);
    desk.close().await;
    if let Some(what) = difference {
        return Err(Failure::Other(what));
    }
    println!("took out the {what} of {students}; the record is whole without them");
    if left > 0 {
        let texts = counted(left, "text", "texts");
        println!(
            "{texts} about students, written by a version before this one, cannot be taken out of this file: export the course, import it into a new file, retire there, and let go of this one"
        );
    }
    match Shelf::is_address(&line.db) {
        true => println!(
            "copies made before still hold them: every backup, and what was kept of the log of the server of {}",
            Shelf::shown(&line.db)
        ),
        false => println!(
            "copies made before still hold them: every backup, and those beside {} named .step-*",
            line.db.display()
        ),
    }
    Ok(())
}

/// Makes a copy the course that goes on, in a file that is not there yet.
pub async fn restore(from: &Path, db: &Path) -> Result<(), Failure> {
    expect_file("--db", db)?;
    if db.exists() {
        return Err(Failure::Other(format!(
            "found {} there already, expected none: move it away first, it may be needed",
            db.display()
        )));
    }
    let copy = open_existing(from).await?;
    copy.check_pages().await?;
    progress("copying and checking");
    copy.backup(db).await?;
    copy.close().await;
    let restored = go_on_in(db).await;
    if restored.is_err() {
        remove_database(db);
    }
    let seq = restored?;
    println!(
        "{}: goes on from the copy; receipts are numbered from {seq} on, so that none given out since the copy was made comes again",
        db.display()
    );
    Ok(())
}

async fn go_on_in(db: &Path) -> Result<i64, Failure> {
    let store = Store::open(db).await?;
    let seq = go_on(&store, Timestamp::now()).await?;
    let difference = first_difference(&mut *store.read().await?).await?;
    store.close().await;
    match difference {
        Some(what) => Err(Failure::Other(what)),
        None => Ok(seq),
    }
}
