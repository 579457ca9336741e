//! `fill`: somebody's own file filled in with points.

use std::path::{Path, PathBuf};

use clap::Args;

use super::{Failure, open_existing};
use crate::desk::Desk;
use crate::files::{FillChoice, FillPlan, IdKind, OwnFile, Points, Sheet, column_named};
use crate::ids::ExperimentKey;
use crate::text::Fault;
use crate::words::counted;

/// What `fill` is asked to do.
#[derive(Debug, Args)]
pub struct FillLine {
    /// The table to fill in; it is not changed itself
    file: PathBuf,
    /// The database file
    #[arg(long, value_name = "FILE")]
    db: PathBuf,
    /// Name of the column that names the student
    #[arg(long, value_name = "COLUMN")]
    id: String,
    /// That column holds e-mail addresses instead of student ids
    #[arg(long)]
    email: bool,
    /// Points of an experiment go into this column; may be given many times
    #[arg(long = "points", value_name = "EXPERIMENT=COLUMN")]
    targets: Vec<String>,
    /// Points of all experiments together go into this column
    #[arg(long, value_name = "COLUMN")]
    total: Option<String>,
    /// Write over cells that say something already
    #[arg(long)]
    replace: bool,
    /// Write points with a decimal comma; only where semicolons separate cells
    #[arg(long)]
    decimal_comma: bool,
    /// Where the filled file goes
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write over a file that is there already
    #[arg(long)]
    force: bool,
}

/// Fills a file in and says on stderr what was and was not matched.
pub async fn run(line: &FillLine) -> Result<(), Failure> {
    let name = line.file.display().to_string();
    let bytes = std::fs::read(&line.file).map_err(|why| unreadable(&line.file, &why))?;
    let file = OwnFile::read(&name, &bytes).map_err(Failure::Faults)?;
    let sheet = file.table().map_err(Failure::Faults)?;
    let desk = Desk::open(open_existing(&line.db).await?).await?;
    let view = desk.view().await?;
    let choice = line.choice((&file, &sheet), |key| view.term.experiment(key).is_some());
    let choice = choice.map_err(|what| Failure::Faults(vec![Fault::of_file(&name, what)]))?;
    let faults = choice.faults(&sheet).into_iter();
    let faults: Vec<Fault> = faults
        .map(|(_, what)| Fault::of_file(&name, what))
        .collect();
    if !faults.is_empty() {
        return Err(Failure::Faults(faults));
    }
    let plan = choice.plan(&sheet, &view.term, &view.in_course_order());
    drop(view);
    desk.close().await;
    if line.out.exists() && !line.force {
        return Err(Failure::Other(format!(
            "{}: found this file there already, expected a new one; --force writes over it",
            line.out.display()
        )));
    }
    if plan.matched == 0 {
        return Err(Failure::Other(format!(
            "{name}: found no row of a student of the course by the column \u{201c}{}\u{201d} among {}, expected ids as on the roster{}{}; nothing was written",
            line.id,
            counted(sheet.rows(), "row", "rows"),
            plan.strangers
                .iter()
                .find_map(|(_, id)| Some(format!("; nobody is {id}, {}", plan.remedy(id)?)))
                .unwrap_or_default(),
            if line.email {
                ""
            } else {
                " (--email for addresses)"
            }
        )));
    }
    let filled = file.filled(&sheet, &plan.fillings());
    let filled = filled.map_err(|fault| Failure::Faults(vec![fault]))?;
    std::fs::write(&line.out, filled).map_err(|why| unreadable(&line.out, &why))?;
    for remark in &file.remarks {
        eprintln!("{name}: {remark}");
    }
    say(&name, &plan);
    println!("{}", line.out.display());
    Ok(())
}

impl FillLine {
    fn choice(
        &self,
        (file, sheet): (&OwnFile<'_>, &Sheet<'_>),
        known: impl Fn(&str) -> bool,
    ) -> Result<FillChoice, String> {
        let mut targets = Vec::new();
        for target in &self.targets {
            let (key, column) = target
                .split_once('=')
                .ok_or_else(|| format!("found --points {target}, expected EXPERIMENT=COLUMN"))?;
            if !known(key) {
                return Err(format!(
                    "found --points {key}, expected the key of an experiment of the course"
                ));
            }
            targets.push((
                Points::Experiment(ExperimentKey::new(key)),
                column_named(sheet, column)?,
            ));
        }
        if let Some(column) = &self.total {
            targets.push((Points::Total, column_named(sheet, column)?));
        }
        if self.decimal_comma && !file.may_have_decimal_comma(sheet.separator()) {
            return Err(format!(
                "found cells {}, expected semicolons with --decimal-comma",
                file.words(sheet.separator())
            ));
        }
        Ok(FillChoice {
            id_column: column_named(sheet, &self.id)?,
            by: if self.email {
                IdKind::Email
            } else {
                IdKind::StudentId
            },
            targets,
            replace: self.replace,
            decimal_comma: self.decimal_comma,
        })
    }
}

/// Most lines of a kind that are said.
const MOST_SAID: usize = 20;

/// What was not filled in and why, and all of it in one line at the end.
fn say(file: &str, plan: &FillPlan) {
    let list = |lines: Vec<String>, more: &str| {
        for line in lines.iter().take(MOST_SAID) {
            eprintln!("{line}");
        }
        if lines.len() > MOST_SAID {
            let rest = lines.len().saturating_sub(MOST_SAID);
            eprintln!("{file}: and {rest} more {more}");
        }
    };
    let strangers = plan.strangers.iter();
    let strangers = strangers.map(|(line, id)| match plan.remedy(id) {
        Some(remedy) => format!("{file}:{line}: nobody of the course is {id}; {remedy}"),
        None => format!("{file}:{line}: nobody of the course is {id}"),
    });
    list(strangers.collect(), "whom nobody of the course is");
    let left = plan.left.iter();
    let left = left.map(|(line, student)| {
        format!(
            "{file}:{line}: {} ({student}) has left the course; not filled in",
            student.id
        )
    });
    list(left.collect(), "who have left the course");
    let repeated = plan.repeated.iter().map(|(id, lines)| {
        let lines: Vec<String> = lines.iter().map(u64::to_string).collect();
        format!(
            "{file}: {id} stands on lines {}; none is filled in",
            lines.join(", ")
        )
    });
    list(repeated.collect(), "that stand on several lines");
    let shared = plan.shared.iter();
    let shared = shared.map(|(line, id)| {
        format!("{file}:{line}: several students have the address {id}; it is not filled in")
    });
    list(shared.collect(), "with an address of several students");
    let kept = plan.kept.iter().map(|cell| {
        format!(
            "{file}:{}, column {}: {} has \u{201c}{}\u{201d} there, which is kept; the points are {} (--replace writes them over it)",
            cell.line, cell.column, cell.student, cell.before, cell.after
        )
    });
    list(kept.collect(), "that are kept");
    let missing = plan.missing.iter();
    let missing = missing.map(|student| format!("{file}: {} is not in the file", student.id));
    list(missing.collect(), "who are not in the file");
    eprintln!(
        "{file}: {} rows matched, {} cells written, {} said so already, {} kept, {} students handed nothing in there, {} have left, {} unknown",
        plan.matched,
        plan.written.len(),
        plan.same,
        plan.kept.len(),
        plan.nothing,
        plan.left.len(),
        plan.strangers.len()
    );
}

fn unreadable(file: &Path, why: &std::io::Error) -> Failure {
    Failure::Other(format!("{}: {why}", file.display()))
}
