//! `rehearse`.

use std::path::Path;

use super::Failure;
use crate::course::Experiment;
use crate::files::{self, Folder};
use crate::measure::GlasswareTable;
use crate::procedure::Procedure;
use crate::simulate::class::SimulatedClass;
use crate::simulate::hands::Population;
use crate::simulate::sections;
use crate::simulate::singles::singles;
use crate::simulate::table::{self, Counts, Kind, Tally};
use crate::simulate::why::why_not_met;
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

/// What the figures are not.
const OWN_SIMULATION: &str = "All of this is our own simulation: its hands, slips, copies and bad lots are of this program's making. Of a real class
expect less, of copies above all: hands differ, and where every burette starts at zero there is little to tell by.";

/// Simulates classes with slips made on purpose, clean sections, copies, invented reports, bad lots and bottles, and
/// prints what the judgement and the audit make of them, each beside its goal. Where there are several experiments,
/// somebody invents a term of them.
pub fn run(
    named: &[String],
    hands: Hands,
    spread: Option<f64>,
    extent: Extent,
) -> Result<(), Failure> {
    let population = hands.population(spread);
    let Extent {
        students,
        sections,
        seed,
    } = extent;
    let (mut slips, mut sum) = (Confusion::default(), Counts::new());
    let mut classes = Vec::new();
    for name in named {
        classes.extend(find(name)?);
    }
    for class in &mut classes {
        class.population = population;
        let key = &class.procedure.key;
        let nothing =
            || Failure::Other(format!("{key}: found no result to rehearse, expected one"));
        let of_slips =
            confusion(&class.procedure, population, students, seed).ok_or_else(nothing)?;
        let of_singles =
            singles(&class.procedure, population, students, seed).ok_or_else(nothing)?;
        let mut counts = sections::sections(class, sections, seed).ok_or_else(nothing)?;
        table::add(&mut counts, &of_singles);
        print!(
            "{}",
            printed(key, &of_slips, &counts, Some(&class.procedure))
        );
        if class.procedure.carried_over().is_some() {
            println!(
                "  its titrant is a lot here, as well known as a careful standardisation makes it"
            );
        }
        slips.add(&of_slips);
        table::add(&mut sum, &counts);
    }
    if let [first, later @ ..] = classes.as_slice()
        && !later.is_empty()
    {
        let later = later.iter();
        let later = later.map(|class| (class.procedure.clone(), class.text.clone()));
        let term = SimulatedClass {
            later: later.collect(),
            ..first.clone()
        };
        let counts = sections::inventing(&term, sections, seed);
        table::add(&mut sum, &counts.unwrap_or_default());
        print!("{}", printed("all of them", &slips, &sum, None));
    }
    println!("{OWN_SIMULATION}");
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

/// A procedure by file or by the key of a shipped one, or all of a course folder.
fn find(name: &str) -> Result<Vec<SimulatedClass>, Failure> {
    let path = Path::new(name);
    if path.is_dir() {
        let folder = Folder::read(path).map_err(Failure::Faults)?;
        let term = files::read_term(&folder).map_err(Failure::Faults)?;
        let class = |experiment: &Experiment| {
            let source = term.sources.experiments.get(&experiment.key);
            let text = source.and_then(|source| term.sources.procedures.get(&source.procedure));
            let text = text.cloned().unwrap_or_default();
            let glassware = GlasswareTable::clone(&term.glassware);
            SimulatedClass::crossed(experiment.procedure.clone(), text, glassware)
        };
        return Ok(term.experiments.iter().map(class).collect());
    }
    let text = match files::shipped_procedure(name) {
        Some(text) => text,
        None => std::fs::read_to_string(name).map_err(|why| {
            Failure::Other(format!(
                "{name}: {why}, expected a procedure\u{2019}s file, a shipped one\u{2019}s key or a course folder"
            ))
        })?,
    };
    let glassware = files::shipped_glassware();
    let procedure = files::read_procedure(name, &text, &glassware).map_err(Failure::Faults)?;
    Ok(vec![SimulatedClass::crossed(procedure, text, glassware)])
}

/// Rows with a goal, what else was looked at, and the slips that no row with a goal is about.
fn printed(
    title: &str,
    slips: &Confusion,
    counts: &Counts,
    procedure: Option<&Procedure>,
) -> String {
    let (goals, besides): (Vec<_>, Vec<_>) =
        counts.iter().partition(|(kind, _)| kind.goal().is_some());
    let mut lines = vec![title.to_owned()];
    for (kind, tally) in &goals {
        lines.push(row(**kind, **tally));
        if kind.goal().is_some_and(|goal| !goal.is_met(**tally)) {
            let why = why_not_met(**kind, **tally, procedure);
            lines.extend(why.map(|why| format!("      since {why}")));
        }
    }
    lines.push("  besides".to_owned());
    let seen = |kind: &Kind, tally: &Tally| tally.found > 0 || !matches!(kind, Kind::Flag(_));
    let besides = besides.iter().filter(|(kind, tally)| seen(kind, tally));
    lines.extend(besides.map(|(kind, tally)| row(**kind, **tally)));
    for (mistake, count) in &slips.slips {
        let rows = [Kind::InOneTrial, Kind::InTheSum, Kind::ToldApart];
        if rows.iter().any(|row| counts.contains_key(&row(*mistake))) {
            continue;
        }
        let tally = Tally {
            made: count.made,
            found: count.named_of_all,
        };
        let mut line = line(&format!("{}: named", mistake.words()), tally);
        if count.one_of > 0 {
            line.push_str(&format!("; listed {}", count.one_of));
        }
        let mistaken = count.mistaken.iter();
        let mistaken: Vec<String> = mistaken.map(|(code, n)| format!("{code} {n}")).collect();
        if !mistaken.is_empty() {
            line.push_str(&format!("; taken for {}", mistaken.join(", ")));
        }
        lines.push(line);
    }
    let (made, found) = slips.named();
    lines.push(line("identifiable slips: named", Tally { made, found }));
    lines.join("\n") + "\n"
}

fn row(kind: Kind, tally: Tally) -> String {
    let mut row = line(&kind.words(), tally);
    if let Some(goal) = kind.goal() {
        row.push_str(&format!(", goal {}", goal.words()));
        if !goal.is_met(tally) {
            row.push_str(", not met");
        }
    }
    row
}

fn line(words: &str, tally: Tally) -> String {
    let Tally { made, found } = tally;
    let percent = tally.percent().unwrap_or_default();
    format!("  {words:<68} {found} of {made} ({percent:.1} %)")
}
