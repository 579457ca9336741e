//! `course.toml`: title, zone and experiments.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use super::marking_file::{marking, trials};
use crate::course::{Course, SectionDates, SectionLots, Zone};
use crate::ids::{ExperimentKey, LotCode, SectionName};
use crate::judge::Marking;
use crate::language::Language;
use crate::procedure::{Dates, TrialRules, is_key};
use crate::term::{ExperimentSource, Term};
use crate::text::{Fault, Section, Toml, bare_or_quoted, found, line_of_text, local_time, quoted};

pub(super) struct CourseFile {
    pub course: Course,
    /// Sections that something speaks of and nobody is in.
    pub empty_sections: Vec<SectionName>,
    pub experiments: Vec<ExperimentEntry>,
}

/// One `[[experiment]]`, its procedure still a key.
pub(super) struct ExperimentEntry {
    pub key: ExperimentKey,
    pub dates: Dates,
    pub source: ExperimentSource,
    pub marking: Option<Marking>,
    pub trials: Option<TrialRules>,
    pub section_lots: BTreeMap<SectionName, SectionLots>,
    pub section_dates: BTreeMap<SectionName, SectionDates>,
    /// Where its procedure is named.
    pub procedure_line: u64,
    /// Lines of the sections in `section_lots`.
    pub section_lines: BTreeMap<SectionName, u64>,
    /// Lines of the sections in `section_dates`.
    pub date_lines: BTreeMap<SectionName, u64>,
}

/// Columns of the gradebook, which an experiment of that key would double.
const TAKEN_KEYS: [&str; 2] = ["section", "total"];

/// Reads the file. `keys` gets every experiment's key, also if there are faults.
pub(super) fn read_course(
    file: &str,
    text: &str,
    keys: &mut HashSet<ExperimentKey>,
) -> Result<CourseFile, Vec<Fault>> {
    Toml::read(file, text, |root| {
        root.only(&[
            "title",
            "term",
            "time_zone",
            "language",
            "empty_sections",
            "experiment",
        ]);
        let title = root.parsed("title", line_of_text);
        let term = root.parsed("term", line_of_text);
        let zone = root.parsed("time_zone", Zone::new);
        let language = root.parsed_if_any("language", language).unwrap_or_default();
        let empty_sections = root.texts("empty_sections");
        let empty_sections = empty_sections.into_iter().map(SectionName::new).collect();
        let experiments = root.tables("experiment", |section| experiment(&section, keys));
        let (title, term, zone) = (title?, term?, zone?);
        Some(CourseFile {
            course: Course {
                title,
                term,
                zone,
                language,
            },
            empty_sections,
            experiments: experiments.into_iter().collect::<Option<_>>()?,
        })
    })
}

fn language(code: &str) -> Result<Language, String> {
    let codes: Vec<&str> = Language::ALL.iter().map(|one| one.code()).collect();
    let known = Language::from_code(code);
    known.ok_or_else(|| found(code, &format!("one of {}", codes.join(", "))))
}

fn experiment(section: &Section, keys: &mut HashSet<ExperimentKey>) -> Option<ExperimentEntry> {
    section.only(&[
        "key",
        "procedure",
        "opens",
        "due",
        "marking",
        "trials",
        "section_lots",
        "section_dates",
        "show_truth",
    ]);
    let key = section.parsed("key", |text| {
        if TAKEN_KEYS.contains(&text) {
            Err(found(
                text,
                "another key: the gradebook has a column of that name",
            ))
        } else if is_key(text) {
            Ok(ExperimentKey::new(text))
        } else {
            Err(found(
                text,
                "1 to 60 lower-case letters, digits and hyphens",
            ))
        }
    });
    if let Some(key) = &key
        && !keys.insert(key.clone())
    {
        section.fault("key", found(key, "every experiment to have its own key"));
    }
    let procedure = section.text("procedure");
    let opens = section.parsed("opens", local_time);
    let due = section.parsed("due", local_time);
    if let Some((opens, due)) = opens.zip(due)
        && due < opens
    {
        section.fault(
            "due",
            format!("found {due}, expected a time after it opens, {opens}"),
        );
    }
    let body = |section: Section| section.written("", &[]);
    let own_marking = section
        .table("marking", |section| marking(&section))
        .flatten();
    let own_trials = section
        .table("trials", |section| trials(&section))
        .flatten();
    let mut section_lots = BTreeMap::new();
    let mut section_lines = BTreeMap::new();
    section.table("section_lots", |lots| {
        for (name, _) in lots.in_order() {
            lots.table(name, |assigned| {
                assigned.only(&["titrant", "excess"]);
                let assigned = SectionLots {
                    titrant: assigned.parsed_if_any("titrant", LotCode::parse),
                    excess: assigned.parsed_if_any("excess", LotCode::parse),
                };
                section_lots.insert(SectionName::new(name), assigned);
                section_lines.insert(SectionName::new(name), lots.line(name));
            });
        }
    });
    let dates = opens.zip(due).map(|(opens, due)| Dates { opens, due });
    let (section_dates, date_lines) = section_dates(section, dates);
    Some(ExperimentEntry {
        key: key?,
        dates: dates?,
        source: ExperimentSource {
            procedure: procedure?,
            marking: section.table("marking", body),
            trials: section.table("trials", body),
            show_truth: section.boolean_or("show_truth", false),
        },
        marking: own_marking,
        trials: own_trials,
        section_lots,
        section_dates,
        procedure_line: section.line("procedure"),
        section_lines,
        date_lines,
    })
}

/// The sections' own dates with their lines; `dates` are those of the others, if they can be read.
fn section_dates(
    section: &Section,
    dates: Option<Dates>,
) -> (
    BTreeMap<SectionName, SectionDates>,
    BTreeMap<SectionName, u64>,
) {
    let (mut all, mut lines) = (BTreeMap::new(), BTreeMap::new());
    section.table("section_dates", |sections| {
        for (name, _) in sections.in_order() {
            sections.table(name, |own| {
                own.only(&["opens", "due"]);
                let own_dates = SectionDates {
                    opens: own.parsed_if_any("opens", local_time),
                    due: own.parsed_if_any("due", local_time),
                };
                let opens = own_dates.opens.or(dates.map(|d| d.opens));
                let due = own_dates.due.or(dates.map(|d| d.due));
                if let Some((opens, due)) = opens.zip(due)
                    && due < opens
                {
                    let what = format!("found {due}, expected a time after it opens, {opens}");
                    own.fault("due", what);
                }
                all.insert(SectionName::new(name), own_dates);
                lines.insert(SectionName::new(name), sections.line(name));
            });
        }
    });
    (all, lines)
}

/// The file of a term.
pub(super) fn write_course(term: &Term) -> String {
    let course = &term.course;
    let mut text = format!(
        "title = {}\nterm = {}\ntime_zone = {}\n",
        quoted(&course.title),
        quoted(&course.term),
        quoted(course.zone.name())
    );
    if course.language != Language::default() {
        text.push_str(&format!("language = {}\n", quoted(course.language.code())));
    }
    let empty = empty_sections(term);
    if !empty.is_empty() {
        let names: Vec<String> = empty.iter().map(|name| quoted(name)).collect();
        text.push_str(&format!("empty_sections = [{}]\n", names.join(", ")));
    }
    for experiment in &term.experiments {
        let source = term.sources.experiments.get(&experiment.key);
        let procedure = source.map_or(experiment.procedure.key.as_str(), |s| s.procedure.as_str());
        text.push_str(&format!(
            "\n[[experiment]]\nkey = {}\nprocedure = {}\nopens = {}\ndue = {}\n",
            quoted(&experiment.key),
            quoted(procedure),
            experiment.dates.opens,
            experiment.dates.due
        ));
        if source.is_some_and(|s| s.show_truth) {
            text.push_str("show_truth = true\n");
        }
        let own = |name: &str, body: Option<&String>| match body {
            Some(body) => format!("\n[experiment.{name}]\n{}", one_level(body)),
            None => String::new(),
        };
        text.push_str(&own("marking", source.and_then(|s| s.marking.as_ref())));
        text.push_str(&own("trials", source.and_then(|s| s.trials.as_ref())));
        for (section, own) in &experiment.section_dates {
            let name = bare_or_quoted(section);
            text.push_str(&format!("\n[experiment.section_dates.{name}]\n"));
            for (key, at) in [("opens", own.opens), ("due", own.due)] {
                if let Some(at) = at {
                    text.push_str(&format!("{key} = {at}\n"));
                }
            }
        }
        for (section, lots) in &experiment.section_lots {
            text.push_str(&format!(
                "\n[experiment.section_lots.{}]\n",
                bare_or_quoted(section)
            ));
            for (key, lot) in [("titrant", &lots.titrant), ("excess", &lots.excess)] {
                if let Some(lot) = lot {
                    text.push_str(&format!("{key} = {}\n", quoted(lot)));
                }
            }
        }
    }
    text
}

/// Sections that staff, dates, lots, releases or extensions name and nobody on the roster is in: their last student has
/// moved.
fn empty_sections(term: &Term) -> BTreeSet<&str> {
    let staff = term.staff.iter().flat_map(|s| &s.sections);
    let experiments = term.experiments.iter();
    let own = experiments.flat_map(|e| e.section_dates.keys().chain(e.section_lots.keys()));
    let released = term.released.values().flat_map(|one| one.sections.keys());
    let extensions = term.extensions.values().flatten();
    let made_up = extensions.filter_map(|one| one.section.as_ref());
    let named = staff.chain(own).chain(released).chain(made_up);
    let on_roster: HashSet<&str> = term.students.iter().map(|s| s.section.as_str()).collect();
    let named = named.map(SectionName::as_str);
    named.filter(|name| !on_roster.contains(name)).collect()
}

/// A table's body without headers of its own, so that it can stand under another one.
fn one_level(body: &str) -> String {
    Toml::read("course.toml", body, |root| Some(root.written("", &[])))
        .unwrap_or_else(|_| body.to_owned())
}
