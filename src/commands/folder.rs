//! `grade`, `import`, `export`.

use std::path::Path;

use jiff::Timestamp;

use super::{Failure, open_existing, progress};
use crate::desk::{self, Desk};
use crate::files::{self, AsideRow, Dialect, Folder, Tidy};
use crate::store::{Shelf, Store, student_keys};
use crate::term::Term;
use crate::words::counted;

/// A course folder straight to grades.
pub async fn grade(
    folder: &Path,
    aside: bool,
    dialect: Dialect,
    out: (&Path, bool),
) -> Result<(), Failure> {
    progress("reading the course folder");
    let (term, rows) = read(folder, aside)?;
    progress("grading");
    let mut grades = desk::grade_term(term, Timestamp::now()).await?;
    let one = |fault| Failure::Faults(vec![fault]);
    if dialect != Dialect::default() {
        let book = grades.get("gradebook.csv").unwrap_or_default();
        let book = dialect.written(&String::from_utf8_lossy(book));
        grades.put("gradebook.csv", book.map_err(Failure::Other)?);
    }
    if !rows.is_empty() {
        let named = files::set_aside_csv(&rows).into_bytes();
        grades.insert("set-aside.csv", named).map_err(one)?;
    }
    grades.write_over(out.0, out.1).map_err(Failure::Faults)?;
    for (file, _) in grades.files() {
        println!("{}", out.0.join(file).display());
    }
    said_aside(&rows)
}

fn read(folder: &Path, aside: bool) -> Result<(Term, Vec<AsideRow>), Failure> {
    let folder = Folder::read(folder).map_err(Failure::Faults)?;
    match aside {
        true => files::read_term_set_aside(&folder),
        false => files::read_term(&folder).map(|term| (term, Vec::new())),
    }
    .map_err(Failure::Faults)
}

/// Names the rows that were set aside.
fn said_aside(rows: &[AsideRow]) -> Result<(), Failure> {
    if rows.is_empty() {
        return Ok(());
    }
    let mut said: Vec<String> = rows
        .iter()
        .map(|row| format!("{} (student {})", row.fault, row.student))
        .collect();
    said.push(format!(
        "{} set aside as above; everything else is done. The rows stay as they are written until somebody enters what can be read of them.",
        counted(rows.len(), "row is", "rows are")
    ));
    Err(Failure::SetAside(said.join("\n")))
}

/// A course folder into a database. Into a course that is there already only if that is confirmed.
pub async fn import(folder: &Path, db: &Path, confirmed: bool, aside: bool) -> Result<(), Failure> {
    progress("reading the course folder");
    // faults are found before the database is made
    let (incoming, rows) = read(folder, aside)?;
    if !Store::is_there(db).await? {
        eprintln!("{}: a new database", Shelf::shown(db));
    }
    let desk = Desk::open(Store::named(db).await?).await?;
    let plan = desk::plan_import(&desk, &incoming).await?;
    if let (Some(plan), false) = (&plan, confirmed) {
        if plan.changes.is_empty() {
            println!("nothing would change: the course has all of it already");
        } else {
            print!("{}", plan.in_words());
            println!("Nothing is changed yet. With --yes all of this is brought in.");
        }
        desk.close().await;
        return said_aside(&rows);
    }
    progress("importing");
    let brought = desk::bring_in_term(&desk, &incoming, "import", Timestamp::now()).await?;
    if let Some(plan) = plan {
        print!("{}", plan.in_words());
    }
    println!(
        "{}, {} of them {}",
        counted(brought.changes, "change", "changes"),
        brought.hand_ins,
        if brought.hand_ins == 1 {
            "a hand-in"
        } else {
            "hand-ins"
        }
    );
    desk.close().await;
    said_aside(&rows)
}

/// A course out of a database.
pub async fn export(db: &Path, (out, force): (&Path, bool)) -> Result<(), Failure> {
    let desk = Desk::open(open_existing(db).await?).await?;
    let view = desk.view().await?;
    let folder = files::write_term(&view.term);
    drop(view);
    folder.write_over(out, force).map_err(Failure::Faults)?;
    println!("{}", out.display());
    desk.close().await;
    Ok(())
}

/// A course as tables for people who analyse.
pub async fn tables(db: &Path, names: bool, (out, force): (&Path, bool)) -> Result<(), Failure> {
    let desk = Desk::open(open_existing(db).await?).await?;
    let keys = student_keys(&mut *desk.store().read().await?).await?;
    let view = desk.view().await?;
    let tidy = Tidy {
        term: &view.term,
        judged: &view.in_course_order(),
        keys: &keys,
        names,
    };
    let folder = tidy.folder();
    drop(view);
    folder.write_over(out, force).map_err(Failure::Faults)?;
    println!("{}", out.display());
    desk.close().await;
    Ok(())
}
