//! `import` of a roster by itself, as a registrar sends it.

use std::path::Path;

use jiff::Timestamp;

use super::{Failure, open_existing};
use crate::changes::staff_among;
use crate::desk::{self, Desk, PrepareError, remembered_columns};
use crate::files::tables::{RosterColumns, RosterField, RosterFile};
use crate::text::Fault;
use crate::words::counted;

/// Whether a path names a table of people and not a course folder.
pub fn is_table(path: &Path) -> bool {
    let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    // the last ones are refused, with what to do
    let tables = [
        "csv", "tsv", "txt", "xlsx", "xlsm", "xltx", "xltm", "ods", "ots", "xls", "xlsb", "fods",
        "xml", "htm", "html", "numbers",
    ];
    path.is_file() && extension.is_some_and(|e| tables.contains(&e.as_str()))
}

/// A roster into a course: what it would change, or, confirmed, the change. `named` are `FIELD=COLUMN`.
pub async fn import(
    path: &Path,
    db: &Path,
    confirmed: bool,
    named: &[String],
) -> Result<(), Failure> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|why| Failure::Other(format!("{name}: {why}")))?;
    let desk = Desk::open(open_existing(db).await?).await?;
    let view = desk.view().await?;
    let roster = RosterFile::read(&name, &bytes, &remembered_columns(&view.term));
    let roster = roster.map_err(Failure::Faults)?;
    let columns = columns(&roster, named).map_err(Failure::Other)?;
    let read = roster.students(&columns).map_err(|faults| {
        let unchosen = !columns.lacks().is_empty();
        let mut faults = faults;
        if unchosen {
            let cells = roster.header.cells.join(", ");
            let what =
                format!("found the columns {cells}; say which is which with --column FIELD=COLUMN");
            faults.push(Fault::of_file(&name, what).at(roster.header.line));
        }
        Failure::Faults(faults)
    })?;
    let mut lost = desk::lost_of_roster(&view.term, &read.students, &name);
    let clashes = staff_among(&view.term, &read.students);
    lost.extend((!clashes.is_empty()).then(|| Fault::of_file(&name, clashes)));
    if !lost.is_empty() {
        return Err(Failure::Faults(lost));
    }
    let now = Timestamp::now();
    let today = view.term.course.zone.local(now).date();
    let plan = desk::plan_roster(&view.term, (&read.students, &[]), &[], today);
    drop(view);
    if let Some(what) = roster.says_of_sheets() {
        eprintln!("{name}: {what}");
    }
    for (line, text) in &read.passed_over {
        eprintln!("{name}:{line}: passed over, about nobody: {text}");
    }
    for student in &plan.joining {
        println!(
            "  joins {} {student}, section {}",
            student.id, student.section
        );
    }
    for student in &plan.returning {
        println!(
            "  comes back {} {student}, section {}",
            student.id, student.section
        );
    }
    for (before, after) in &plan.altered {
        println!(
            "  was {} {before}, section {}, is {after}, section {}",
            before.id, before.section, after.section
        );
    }
    println!(
        "{}, {}, {}, {} not in the file and stay",
        counted(plan.joining.len(), "student joins", "students join"),
        counted(plan.altered.len(), "is altered", "are altered"),
        counted(plan.unchanged, "is as it was", "are as they were"),
        plan.absent.len()
    );
    if confirmed {
        let who = ("import", now);
        let made = desk::apply_roster(&desk, (&read.students, &[]), &[], who).await;
        made.map_err(|why| match why {
            PrepareError::Store(why) => Failure::Store(why),
            PrepareError::Fields(faults) => Failure::Other(faults.of("roster").unwrap_or_default()),
        })?;
        desk::remember_columns(&desk, &roster, &columns, who).await?;
    } else if !plan.changes().is_empty() {
        println!("Nothing is changed yet. With --yes all of this is brought in.");
    }
    desk.close().await;
    Ok(())
}

fn columns(roster: &RosterFile, named: &[String]) -> Result<RosterColumns, String> {
    let mut columns = roster.columns.clone();
    for one in named {
        let (field, column) = one
            .split_once('=')
            .ok_or_else(|| format!("found --column {one}, expected FIELD=COLUMN"))?;
        let known = RosterField::ALL
            .into_iter()
            .find(|known| known.name() == field);
        let names = RosterField::ALL.map(RosterField::name).join(", ");
        let field =
            known.ok_or_else(|| format!("found --column {field}, expected one of {names}"))?;
        let place = roster
            .header
            .cells
            .iter()
            .position(|cell| cell == column.trim());
        let place = place.ok_or_else(|| {
            format!(
                "found --column {one}, expected one of the columns {}",
                roster.header.cells.join(", ")
            )
        })?;
        columns.set(field, Some(place));
        if field == RosterField::Name {
            columns.set(RosterField::FamilyName, None);
            columns.set(RosterField::GivenName, None);
        }
    }
    Ok(columns)
}
