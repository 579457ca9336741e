//! The term at a glance: what is handed in where, and what is to be done next.

use jiff::Timestamp;
use jiff::civil::DateTime;

use super::audit::{Proposal, proposal};
use crate::chem::{Formula, printed};
use crate::course::{Experiment, StaffRole};
use crate::desk::Image;
use crate::ids::ExperimentKey;
use crate::procedure::Dates;
use crate::term::{Slot, Status};
use crate::truth::{Bottle, Keeping};
use crate::web::changing::in_query;
use crate::web::dates;
use crate::words::counted;

/// One experiment over the whole course.
pub struct ExperimentRow {
    pub key: ExperimentKey,
    /// Title of its procedure.
    pub title: String,
    /// When it is due.
    pub due: String,
    pub all: Tally,
    /// Where it stands, in a word.
    pub state: &'static str,
    /// The class of that word.
    pub tag: &'static str,
}

/// One section over all experiments.
pub struct SectionRow {
    pub section: String,
    /// How far it is with each experiment, in course order.
    pub cells: Vec<Cell>,
}

/// One section with one experiment.
pub struct Cell {
    /// Key of the experiment.
    pub key: ExperimentKey,
    /// How far they are.
    pub tally: Tally,
    /// Where it stands, in a word.
    pub state: &'static str,
    /// The class of that word.
    pub tag: &'static str,
    /// When it is due there, if not with the others.
    pub due: Option<String>,
    /// Shares of the bar in percent: settled or clear, to review, back with the student; each with where it starts.
    pub bar: [(String, String); 3],
}

/// How far some students are with an experiment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// How many there are.
    pub students: usize,
    /// How many have handed in.
    pub handed_in: usize,
    /// How many of these a person should look at.
    pub to_review: usize,
    /// How many are back with their student.
    pub returned: usize,
    /// How many have no bottle.
    pub without_bottle: usize,
}

/// Something to be done next.
pub struct NextStep {
    pub words: String,
    pub href: String,
    /// What the link says.
    pub link: &'static str,
}

impl Tally {
    /// Of an experiment, for one section or the whole course.
    pub fn of(image: &Image, experiment: &ExperimentKey, section: Option<&str>) -> Self {
        let mut tally = Self::default();
        let students = image.term.enrolled();
        for student in students.filter(|s| section.is_none_or(|name| s.section == name)) {
            tally.students += 1;
            let slot = Slot::new(experiment, &student.id);
            if !image.term.issued.contains_key(&slot) {
                tally.without_bottle += 1;
            }
            let Some(judged) = image.judged.get(&slot) else {
                continue;
            };
            tally.handed_in += 1;
            match judged.status {
                Status::ToReview => tally.to_review += 1,
                Status::Returned => tally.returned += 1,
                Status::Clear | Status::Settled => {}
            }
        }
        tally
    }
}

/// A row per experiment, in course order.
pub fn experiment_rows(image: &Image, now: Timestamp) -> Vec<ExperimentRow> {
    let row = |experiment: &Experiment| {
        let all = Tally::of(image, &experiment.key, None);
        let (state, tag) = state(image, experiment, now);
        ExperimentRow {
            key: experiment.key.clone(),
            title: experiment.procedure.title.clone(),
            due: match first_and_last(image, experiment, |dates| dates.due) {
                [first, last] if first == last => dates::local(last),
                [first, last] => format!("{} to {}", dates::local(first), dates::local(last)),
            },
            all,
            state,
            tag,
        }
    };
    image.term.experiments.iter().map(row).collect()
}

/// A row per section, in order of name.
pub fn section_rows(image: &Image, now: Timestamp) -> Vec<SectionRow> {
    let term = &image.term;
    let row = |section: &str| SectionRow {
        section: section.to_owned(),
        cells: term
            .experiments
            .iter()
            .map(|e| cell(image, e, section, now))
            .collect(),
    };
    term.sections().into_iter().map(row).collect()
}

fn cell(image: &Image, experiment: &Experiment, section: &str, now: Timestamp) -> Cell {
    let tally = Tally::of(image, &experiment.key, Some(section));
    let dates = experiment.dates_in(section);
    let released = image.term.released_to(&experiment.key, section).is_some();
    let (state, tag) = standing(image, dates, released, now);
    let looked_at = tally
        .handed_in
        .saturating_sub(tally.to_review)
        .saturating_sub(tally.returned);
    let share = |n: usize| 100.0 * n as f64 / tally.students.max(1) as f64;
    let mut from = 0.0;
    let bar = [looked_at, tally.to_review, tally.returned].map(|n| {
        let starts = format!("{from:.1}");
        from += share(n);
        (starts, format!("{:.1}", share(n)))
    });
    Cell {
        key: experiment.key.clone(),
        tally,
        state,
        tag,
        due: (dates.due != experiment.dates.due).then(|| dates::local(dates.due)),
        bar,
    }
}

/// Where an experiment stands, in a word, with the class of that word.
pub fn state(
    image: &Image,
    experiment: &Experiment,
    now: Timestamp,
) -> (&'static str, &'static str) {
    if image.is_released(&experiment.key) {
        ("released", "tag tag-ok")
    } else if image.term.released.contains_key(&experiment.key) {
        ("released in part", "tag tag-ok")
    } else {
        let [opens, _] = first_and_last(image, experiment, |dates| dates.opens);
        let [_, due] = first_and_last(image, experiment, |dates| dates.due);
        standing(image, Dates { opens, due }, false, now)
    }
}

fn standing(
    image: &Image,
    dates: Dates,
    released: bool,
    now: Timestamp,
) -> (&'static str, &'static str) {
    if released {
        ("released", "tag tag-ok")
    } else if is_past(image, dates.due, now) {
        ("due, not released", "tag tag-late")
    } else if is_past(image, dates.opens, now) {
        ("open", "tag tag-open")
    } else {
        ("not open yet", "tag")
    }
}

/// The first and the last date among the sections.
fn first_and_last(
    image: &Image,
    experiment: &Experiment,
    date: impl Fn(Dates) -> DateTime,
) -> [DateTime; 2] {
    let sections = image.term.sections();
    let all = sections.iter().map(|name| date(experiment.dates_in(name)));
    let usual = date(experiment.dates);
    [
        all.clone().min().unwrap_or(usual),
        all.max().unwrap_or(usual),
    ]
}

fn is_past(image: &Image, local: DateTime, now: Timestamp) -> bool {
    let at = image.term.course.zone.instant(local);
    at.is_some_and(|at| at <= now)
}

/// A group of results that looks off, also once they are released.
pub struct Alarm {
    /// Title of the experiment.
    pub title: String,
    pub words: String,
    pub href: String,
    pub released: bool,
    /// Values that the class finds, by the bottle.
    pub proposals: Vec<(String, Proposal)>,
}

/// The alarms of all experiments.
pub fn alarms(image: &Image) -> Vec<Alarm> {
    let experiments = image.term.experiments.iter();
    experiments.filter_map(|e| alarm(image, e)).collect()
}

/// What looks off in an experiment, if anything does. The audit has to be at hand.
pub fn alarm(image: &Image, experiment: &Experiment) -> Option<Alarm> {
    let audit = image.audit(experiment)?;
    let groups: Vec<String> = audit.named().map(|group| group.name.to_string()).collect();
    if groups.is_empty() {
        return None;
    }
    let value = audit.named().any(|g| audit.assigned.contains_key(&g.name));
    let why = if value {
        "the class does not find what was assigned"
    } else {
        "its results are off"
    };
    let proposals = audit.named().filter_map(|group| {
        let found = proposal(&image.term, experiment, audit, group)?;
        Some((group.name.to_string(), found))
    });
    Some(Alarm {
        title: experiment.procedure.title.clone(),
        words: format!("look at {} first; {why}.", groups.join(", ")),
        href: format!("/course/experiments/{}/audit", experiment.key),
        released: image.term.released.contains_key(&experiment.key),
        proposals: proposals.collect(),
    })
}

/// What is to be done next, the course first, then by experiment.
pub fn next_steps(image: &Image, now: Timestamp) -> Vec<NextStep> {
    let term = &image.term;
    let mut steps = Vec::new();
    let mut step = |words: String, href: &str, link| {
        steps.push(NextStep {
            words,
            href: href.to_owned(),
            link,
        });
    };
    if term.students.is_empty() {
        step(
            "Nobody is on the roster yet.".into(),
            "/course/roster",
            "Bring the roster in",
        );
    }
    let is_taught = |section: &&str| {
        term.staff
            .iter()
            .any(|s| s.role == StaffRole::Assistant && s.sections.iter().any(|own| own == section))
    };
    let untaught: Vec<&str> = term
        .sections()
        .into_iter()
        .filter(|s| !is_taught(s))
        .collect();
    if !untaught.is_empty() {
        let words = format!("No assistant has {}.", untaught.join(", "));
        step(words, "/course/staff", "Staff");
    }
    if term.experiments.is_empty() {
        step(
            "There is no experiment yet.".into(),
            "/course/experiments",
            "Add the first",
        );
    }
    let today = term.course.zone.local(now).date();
    for (bottle, life) in &term.shelf {
        let keeping = life.keeping(today);
        if let (Bottle::Lot(code), Keeping::Expired(_)) = (bottle, keeping) {
            let words = keeping.words().unwrap_or_default();
            steps.push(NextStep {
                words: format!("Lot {code}: {words}."),
                href: format!("/prep/lot?code={}", in_query(code)),
                link: "The lot",
            });
        }
    }
    for experiment in &term.experiments {
        let released = image.is_released(&experiment.key);
        steps.extend(steps_of(image, experiment, now, released));
    }
    steps
}

/// Where a lot of a reagent is recorded that an experiment lacks.
pub fn record_lot(key: &ExperimentKey, reagent: &str) -> String {
    let reagent = in_query(reagent);
    format!("/prep/lots/record?reagent={reagent}&then=experiment:{key}")
}

fn steps_of(
    image: &Image,
    experiment: &Experiment,
    now: Timestamp,
    released: bool,
) -> Vec<NextStep> {
    let term = &image.term;
    let (key, procedure) = (&experiment.key, &experiment.procedure);
    let title = &procedure.title;
    let mut steps = Vec::new();
    let at = format!("/course/experiments/{key}");
    if released {
        return steps;
    }
    let has_lot = |species: &Formula| {
        let mut lots = term.lots.values();
        lots.any(|lot| Formula::parse(&lot.reagent).is_ok_and(|f| f == *species))
    };
    for species in procedure.reagents_in_lots() {
        if !has_lot(species) {
            let name = printed(&species.to_string());
            steps.push(NextStep {
                words: format!("{title}: there is no lot of {name} yet."),
                href: record_lot(key, &species.to_string()),
                link: "Enter a lot",
            });
        }
    }
    let mut step_to = |words: String, href: String, link| {
        steps.push(NextStep { words, href, link });
    };
    if let Some(carried) = procedure.carried_over()
        && term.standardised_in(experiment).is_none()
    {
        let words = format!(
            "{title}: its titrant is carried over from {}, and no earlier experiment finds it.",
            carried.from
        );
        step_to(words, at.clone(), "Look at the experiment");
    }
    if let Some((_, from)) = procedure.line_taken_over()
        && term.standardised_in(experiment).is_none()
    {
        let words = format!(
            "{title}: its calibration line is taken over from {from}, and no earlier experiment measures these standards."
        );
        step_to(words, at.clone(), "Look at the experiment");
    }
    if term.unknowns.get(key).is_none_or(|u| u.is_empty()) {
        let words = format!("{title}: it has no unknowns yet.");
        step_to(
            words,
            format!("/prep/experiments/{key}/batch?then=print:{key}"),
            "Enter unknowns",
        );
        return steps;
    }
    let tally = Tally::of(image, key, None);
    if tally.without_bottle > 0 {
        let words = format!(
            "{title}: {} no bottle.",
            counted(tally.without_bottle, "student has", "students have")
        );
        step_to(words, format!("{at}/issue"), "Issue unknowns");
    }
    if tally.to_review > 0 {
        let words = format!(
            "{title}: {} to review.",
            counted(tally.to_review, "submission", "submissions")
        );
        step_to(words, format!("/review?experiment={key}"), "Review");
    }
    let sections = term.sections();
    let ready: Vec<&str> = sections
        .iter()
        .filter(|section| {
            let tally = Tally::of(image, key, Some(section));
            let out = term.released_to(key, section).is_some();
            let due = is_past(image, experiment.dates_in(section).due, now);
            due && !out && tally.to_review == 0 && tally.handed_in > 0
        })
        .copied()
        .collect();
    if !ready.is_empty() {
        let back = match tally.returned {
            0 => String::new(),
            n => format!(" ({n} still with their students)"),
        };
        let whole = ready.len() == sections.len() || tally.to_review == 0;
        let place = match whole {
            true => String::new(),
            false => format!(" in {}", ready.join(", ")),
        };
        let words = format!("{title}: nothing is left to review{place}{back}.");
        step_to(words, format!("{at}/release"), "Release the results");
    }
    steps
}
