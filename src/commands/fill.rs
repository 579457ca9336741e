//! `fill`: somebody's own file filled in with points.

use std::path::{Path, PathBuf};

use clap::Args;

use super::{Failure, open_existing};
use crate::desk::Desk;
use crate::files::{
    FillChoice, FillPlan, IdKind, Points, Sheet, column_named, may_have_decimal_comma,
};
use crate::ids::ExperimentKey;
use crate::text::Fault;

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
}

/// Fills a file in and says on stderr what was and was not matched.
pub async fn run(line: &FillLine) -> Result<(), Failure> {
    let name = line.file.display().to_string();
    let bytes = std::fs::read(&line.file).map_err(|why| unreadable(&line.file, &why))?;
    let sheet = Sheet::read(&name, &bytes).map_err(Failure::Faults)?;
    let desk = Desk::open(open_existing(&line.db).await?).await?;
    let view = desk.view().await?;
    let choice = line.choice(&sheet, |key| view.term.experiment(key).is_some());
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
    say(&name, &plan);
    std::fs::write(&line.out, sheet.filled(&plan.fillings()))
        .map_err(|why| unreadable(&line.out, &why))?;
    println!("{}", line.out.display());
    Ok(())
}

impl FillLine {
    fn choice(
        &self,
        sheet: &Sheet<'_>,
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
        if self.decimal_comma && !may_have_decimal_comma(sheet.separator()) {
            return Err(format!(
                "found cells separated by {}, expected semicolons with --decimal-comma",
                sheet.separator().words()
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

fn say(file: &str, plan: &FillPlan) {
    eprintln!(
        "{file}: {} rows matched, {} cells written, {} said so already, {} kept, {} students handed nothing in there",
        plan.matched,
        plan.written.len(),
        plan.same,
        plan.kept.len(),
        plan.nothing
    );
    for (line, id) in &plan.strangers {
        eprintln!("{file}:{line}: nobody of the course is {id}");
    }
    for (id, lines) in &plan.repeated {
        let lines: Vec<String> = lines.iter().map(u64::to_string).collect();
        eprintln!(
            "{file}: {id} stands on lines {}; none is filled in",
            lines.join(", ")
        );
    }
    for (line, id) in &plan.shared {
        eprintln!("{file}:{line}: several students have the address {id}; it is not filled in");
    }
    for student in &plan.missing {
        eprintln!("{file}: {} is not in the file", student.id);
    }
}

fn unreadable(file: &Path, why: &std::io::Error) -> Failure {
    Failure::Other(format!("{}: {why}", file.display()))
}
