//! `rehearse`.

use super::Failure;
use crate::files;
use crate::judge::{Confusion, confusion};
use crate::procedure::Procedure;

/// Simulates classes with slips made on purpose, and prints what the judgement makes of them.
pub fn run(procedures: &[String], students: usize, seed: u64) -> Result<(), Failure> {
    let mut sum = Confusion::default();
    for name in procedures {
        let procedure = find(name)?;
        let found = confusion(&procedure, students, seed).ok_or_else(|| {
            Failure::Other(format!("{name}: found no result to rehearse, expected one"))
        })?;
        print!("{}", table(&procedure.key, &found));
        sum.add(&found);
    }
    if procedures.len() > 1 {
        print!("{}", table("all of them", &sum));
    }
    Ok(())
}

/// A procedure by file or by the key of a shipped one.
fn find(name: &str) -> Result<Procedure, Failure> {
    let text = match files::shipped_procedure(name) {
        Some(text) => text,
        None => std::fs::read_to_string(name).map_err(|why| {
            Failure::Other(format!(
                "{name}: {why}, expected a procedure\u{2019}s file or a shipped one\u{2019}s key"
            ))
        })?,
    };
    files::read_procedure(name, &text, &files::shipped_glassware()).map_err(Failure::Faults)
}

fn table(title: &str, found: &Confusion) -> String {
    let mut lines = vec![
        title.to_owned(),
        format!(
            "  {:<24}{:>7}{:>14}{:>8}{:>8}  taken for",
            "slip", "made", "identifiable", "named", "listed"
        ),
    ];
    for (code, count) in &found.slips {
        let mistaken: Vec<String> = count
            .mistaken
            .iter()
            .map(|(code, n)| format!("{code} {n}"))
            .collect();
        lines.push(format!(
            "  {:<24}{:>7}{:>14}{:>8}{:>8}  {}",
            code.code(),
            count.made,
            count.identifiable,
            count.named,
            count.one_of,
            mistaken.join(", ")
        ));
    }
    let (identifiable, named) = found.named();
    lines.push(format!(
        "  {named} of {identifiable} identifiable slips named"
    ));
    lines.push(format!(
        "  {} of {} clean students with a slip put forward",
        found.clean_accused, found.clean
    ));
    for (flag, n) in &found.clean_flags {
        lines.push(format!(
            "  {n} of {} clean students flagged {flag}",
            found.clean
        ));
    }
    lines.join("\n") + "\n"
}
