//! `rehearse`.

use super::Failure;
use crate::files;
use crate::invent::class::Class;
use crate::invent::sections::{BAD_LOT_PERCENT, Raised, Sections, Share, sections};
use crate::judge::{Confusion, confusion};
use crate::procedure::Procedure;

/// How much to rehearse.
#[derive(Clone, Copy, Debug)]
pub struct Extent {
    /// Students for each slip.
    pub students: usize,
    /// Sections of each sort.
    pub sections: usize,
    /// The same seed gives the same classes.
    pub seed: u64,
}

/// Simulates classes with slips made on purpose, clean sections, copies and bad lots, and prints what the judgement and
/// the audit make of them.
pub fn run(procedures: &[String], extent: Extent) -> Result<(), Failure> {
    let (mut slips, mut of_sections) = (Confusion::default(), Sections::default());
    for name in procedures {
        let (procedure, text) = find(name)?;
        let nothing =
            || Failure::Other(format!("{name}: found no result to rehearse, expected one"));
        let found = confusion(&procedure, extent.students, extent.seed).ok_or_else(nothing)?;
        let key = procedure.key.clone();
        let class = Class::crossed(procedure, text, files::shipped_glassware());
        let beside = sections(&class, extent.sections, extent.seed).ok_or_else(nothing)?;
        print!("{}{}", table(&key, &found), section_table(&beside));
        slips.add(&found);
        of_sections.add(&beside);
    }
    if procedures.len() > 1 {
        let table = table("all of them", &slips);
        print!("{table}{}", section_table(&of_sections));
    }
    Ok(())
}

/// A procedure by file or by the key of a shipped one, and its text.
fn find(name: &str) -> Result<(Procedure, String), Failure> {
    let text = match files::shipped_procedure(name) {
        Some(text) => text,
        None => std::fs::read_to_string(name).map_err(|why| {
            Failure::Other(format!(
                "{name}: {why}, expected a procedure\u{2019}s file or a shipped one\u{2019}s key"
            ))
        })?,
    };
    let procedure = files::read_procedure(name, &text, &files::shipped_glassware());
    Ok((procedure.map_err(Failure::Faults)?, text))
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
    lines.join("\n") + "\n"
}

fn section_table(found: &Sections) -> String {
    let Sections {
        clean, students, ..
    } = found;
    let mut lines = vec![format!(
        "  {:<24}{:>7}{:>14}  in {clean} clean sections, {students} students",
        "flag", "raised", "by chance"
    )];
    for (code, Raised { raised, chance }) in &found.flags {
        let expected = match chance {
            0.0 => "-".to_owned(),
            chance => format!("{:.1}", chance * *students as f64),
        };
        lines.push(format!("  {:<24}{raised:>7}{expected:>14}", code.code()));
    }
    lines.push(format!(
        "  {:.2} flags by chance in a clean section",
        found.chance_flags_per_section()
    ));
    for (how, Share { found, of }) in &found.copies {
        let how = how.words();
        lines.push(format!("  {found} of {of} readings copied {how} found"));
    }
    let Share { found: taken, of } = found.honest;
    lines.push(format!(
        "  {taken} of {of} honest pairs with one bottle taken for copies"
    ));
    let Share { found: off, of } = found.groups;
    lines.push(format!("  {off} of {of} groups of clean sections look off"));
    let Share { found: named, of } = found.bad_lots;
    if of > 0 {
        lines.push(format!(
            "  {named} of {of} lots {BAD_LOT_PERCENT} % off found from one careful section"
        ));
    }
    lines.join("\n") + "\n"
}
