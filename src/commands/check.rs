//! `check`.

use std::path::{Path, PathBuf};

use super::Failure;
use crate::chem::balance;
use crate::files;
use crate::measure::GlasswareTable;
use crate::simulate::check_report;
use crate::text::Fault;

/// Checks procedure files: each fault on a line; of a sound one, what a class can reach. Prints reactions balanced.
pub fn run(paths: &[PathBuf], reactions: &[String]) -> Result<(), Failure> {
    let (balanced, checked) = (balance_all(reactions), check_all(paths));
    match (balanced, checked) {
        (Ok(()), checked) => checked,
        (balanced, Ok(())) => balanced,
        (Err(one), Err(other)) => Err(Failure::Other(format!("{one}\n{other}"))),
    }
}

fn balance_all(reactions: &[String]) -> Result<(), Failure> {
    let mut faults = Vec::new();
    for reaction in reactions {
        match balance(reaction) {
            Ok(balanced) => println!("{balanced}"),
            Err(why) => faults.push(why.to_string()),
        }
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Failure::Other(faults.join("\n")))
    }
}

fn check_all(paths: &[PathBuf]) -> Result<(), Failure> {
    let mut faults = Vec::new();
    for path in paths {
        let name = path.display().to_string();
        let shipped = files::shipped_procedure(&name);
        let text = match shipped.map_or_else(|| std::fs::read(path), |text| Ok(text.into_bytes())) {
            Ok(bytes) => String::from_utf8(bytes)
                .map_err(|why| format!("found bytes that are not UTF-8: {why}")),
            Err(why) => Err(format!(
                "cannot be read: {why}, expected a procedure\u{2019}s file or a shipped one\u{2019}s key"
            )),
        };
        match text {
            Err(what) => faults.push(Fault::of_file(name, what)),
            Ok(text) => match laboratory(path).and_then(|glassware| {
                let procedure = files::read_procedure(&name, &text, &glassware)?;
                Ok((procedure, glassware))
            }) {
                Err(more) => faults.extend(more),
                Ok((procedure, glassware)) => match check_report(&procedure, &glassware) {
                    Err(what) => faults.push(Fault::of_file(name, what)),
                    Ok(report) => print!("{report}"),
                },
            },
        }
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Failure::Faults(faults))
    }
}

/// What the laboratory has: the shipped pieces, and those of a `glassware.toml` beside the procedure or, where that lies
/// in a course's folder of procedures, beside the course.
fn laboratory(procedure: &Path) -> Result<GlasswareTable, Vec<Fault>> {
    let mut glassware = files::shipped_glassware();
    let folders = procedure.ancestors().skip(1).take(2);
    let own = folders.map(|folder| folder.join("glassware.toml"));
    let Some(own) = own.into_iter().find(|file| file.is_file()) else {
        return Ok(glassware);
    };
    let name = own.display().to_string();
    let text = std::fs::read_to_string(&own).map_err(|why| {
        vec![Fault::of_file(
            name.clone(),
            format!("cannot be read: {why}"),
        )]
    })?;
    for piece in files::read_glassware(&name, &text)?.iter() {
        glassware.insert(piece.clone());
    }
    Ok(glassware)
}
