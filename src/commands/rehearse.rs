//! `rehearse`.

use super::Failure;
use crate::files;
use crate::procedure::Procedure;
use crate::simulate::class::SimulatedClass;
use crate::simulate::hands::Population;
use crate::simulate::sections::{
    self, BAD_BOTTLE_PERCENT, BAD_LOT_PERCENT, DECAY_PERCENT, Kind, Sections,
};
use crate::simulate::{Confusion, confusion};

/// How much to rehearse.
#[derive(Clone, Copy, Debug)]
pub struct Extent {
    /// Students for each mistake.
    pub students: usize,
    /// Sections of each sort.
    pub sections: usize,
    /// The same seed gives the same classes.
    pub seed: u64,
}

/// Simulates classes with slips made on purpose, clean sections, copies, invented reports, bad lots and bottles, and
/// prints what the judgement and the audit make of them.
pub fn run(
    procedures: &[String],
    hands: Hands,
    spread: Option<f64>,
    extent: Extent,
) -> Result<(), Failure> {
    let population = hands.population(spread);
    let (mut slips, mut terms) = (Confusion::default(), Sections::default());
    for name in procedures {
        let (procedure, text) = find(name)?;
        let nothing =
            || Failure::Other(format!("{name}: found no result to rehearse, expected one"));
        let Extent {
            students,
            sections,
            seed,
        } = extent;
        let of_slips = confusion(&procedure, population, students, seed).ok_or_else(nothing)?;
        let key = procedure.key.clone();
        let class = SimulatedClass {
            population,
            ..SimulatedClass::crossed(procedure, text, files::shipped_glassware())
        };
        let of_sections = sections::sections(&class, sections, seed).ok_or_else(nothing)?;
        print!("{}", table(&key, &of_slips, &of_sections));
        slips.add(&of_slips);
        sections::add(&mut terms, &of_sections);
    }
    if procedures.len() > 1 {
        print!("{}", table("all of them", &slips, &terms));
    }
    Ok(())
}

/// Whose hands are simulated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Hands {
    /// The errors that the procedure states, and no habits
    Careful,
    /// As in real sections: some sloppy, some poor, all with habits
    Realistic,
}

impl Hands {
    fn population(self, spread: Option<f64>) -> Population {
        match self {
            Self::Careful => Population::Careful {
                least: 1.0,
                most: 1.0,
                spread,
            },
            Self::Realistic => Population::Realistic {
                spread: spread.unwrap_or(crate::simulate::hands::REALISTIC_SPREAD),
            },
        }
    }
}

/// The standard deviation of a titre.
pub fn spread(text: &str) -> Result<f64, String> {
    let number = text
        .parse()
        .ok()
        .filter(|millilitres: &f64| *millilitres > 0.0 && *millilitres <= 5.0);
    number.ok_or_else(|| format!("found {text}, expected mL above 0, at most 5"))
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

/// A row for each kind of thing: how many were made, and how many of them were found.
fn table(title: &str, slips: &Confusion, terms: &Sections) -> String {
    let row = |kind: &str, made: usize, found: usize| format!("  {kind:<58}{made:>8}{found:>8}");
    let mut lines = vec![
        title.to_owned(),
        format!("  {:<58}{:>8}{:>8}", "clean work", "looked at", "taken"),
    ];
    lines.push(row(
        "students with a slip put forward",
        slips.clean,
        slips.clean_accused,
    ));
    for (clean, heading) in [(true, None), (false, Some("made on purpose"))] {
        lines.extend(heading.map(|heading| format!("  {heading:<58}{:>8}{:>8}", "made", "found")));
        let kinds = terms.iter().filter(|(kind, _)| is_clean(kind) == clean);
        let kinds = kinds.filter(|(kind, tally)| tally.found > 0 || !matches!(kind, Kind::Flag(_)));
        lines.extend(kinds.map(|(kind, tally)| row(&words(kind), tally.made, tally.found)));
    }
    let slip = |text: &str| format!("slip: {text}");
    for (mistake, count) in &slips.slips {
        let mut line = row(&slip(mistake.name()), count.made, count.named_of_all);
        if count.one_of > 0 {
            line.push_str(&format!("  listed {}", count.one_of));
        }
        let mistaken = count.mistaken.iter();
        let mistaken: Vec<String> = mistaken.map(|(code, n)| format!("{code} {n}")).collect();
        if !mistaken.is_empty() {
            line.push_str(&format!("  taken for {}", mistaken.join(", ")));
        }
        lines.push(line);
    }
    let (identifiable, named) = slips.named();
    lines.push(row("identifiable slips named", identifiable, named));
    lines.join("\n") + "\n"
}

fn is_clean(kind: &Kind) -> bool {
    match kind {
        Kind::Flag(_) | Kind::ChanceFlags | Kind::Waiting | Kind::HonestPair | Kind::Group => true,
        Kind::Copy(_)
        | Kind::CopyAcross(_)
        | Kind::Inventor
        | Kind::Lot
        | Kind::Bottle
        | Kind::Decay => false,
    }
}

fn words(kind: &Kind) -> String {
    match kind {
        Kind::Flag(code) => format!("submissions flagged {}", code.code()),
        Kind::ChanceFlags => "sections, and flags by chance in them".into(),
        Kind::Waiting => "submissions that need a person".into(),
        Kind::HonestPair => "honest pairs with one bottle taken for copies".into(),
        Kind::Group => "groups of clean sections that look off".into(),
        Kind::Copy(how) => format!("readings copied {}", how.words()),
        Kind::CopyAcross(how) => format!("copied from another section, {}", how.words()),
        Kind::Inventor => "students who invent the reports of a term".into(),
        Kind::Lot => format!("lots {BAD_LOT_PERCENT} % off, one section"),
        Kind::Bottle => format!("bottles {BAD_BOTTLE_PERCENT} % off, four students"),
        Kind::Decay => format!("lots that lose {DECAY_PERCENT} % in four days, five sections"),
    }
}
