//! What a course keeps of the exchange its roster came from, and results under those names.

use std::collections::{BTreeMap, BTreeSet};

use super::super::folder::Folder;
use super::export::{Export, days};
use super::package::{Package, Version, is_active};
use super::results::Place;
use super::roster::{Class, RosterChoice, people, section_names};
use super::session::Sessions;
use crate::changes::Exchanged;
use crate::course::{Experiment, Student};
use crate::term::{Judged, Slot, Term};
use crate::text::Fault;

/// The students of an exchange, and what it calls everything that results will refer to.
pub fn read_exchange(
    folder: &Folder,
    choice: &RosterChoice,
) -> Result<(Vec<Student>, Vec<Exchanged>), Vec<Fault>> {
    let package = Package::open(folder)?;
    let (classes, enrolled) = people(&package, choice, Some(choice.key))?;
    let students = enrolled.into_iter().map(|one| one.student).collect();
    let mut faults = Vec::new();
    let mut kept = vec![Exchanged {
        kind: Exchanged::VERSION.to_owned(),
        sourced_id: package.version.name().to_owned(),
        ..Exchanged::default()
    }];
    let sections = section_names(&classes);
    kept.extend(classes.iter().map(|class| {
        Exchanged {
            kind: Exchanged::CLASS.to_owned(),
            sourced_id: class.sourced_id.clone(),
            name: sections
                .get(&*class.sourced_id)
                .cloned()
                .unwrap_or_default(),
            belongs_to: class.school.clone(),
            within: class.terms.clone(),
            ..Exchanged::default()
        }
    }));
    if package.bytes("academicSessions").is_some() {
        kept.extend(Sessions::read(&package, &mut faults).to_keep());
    }
    let known: BTreeSet<&str> = classes.iter().map(|c| c.sourced_id.as_str()).collect();
    if package.bytes("lineItems").is_some() {
        kept.extend(line_items(&package, &known, &mut faults));
    }
    if faults.is_empty() {
        Ok((students, kept))
    } else {
        Err(faults)
    }
}

fn line_items(
    package: &Package<'_>,
    classes: &BTreeSet<&str>,
    faults: &mut Vec<Fault>,
) -> Vec<Exchanged> {
    let needed = ["sourcedId", "title", "classSourcedId", "categorySourcedId"];
    let Some(table) = package.table("lineItems", &needed, faults) else {
        return Vec::new();
    };
    let active = table.rows.iter().filter(|row| is_active(&table, row));
    let items = active.map(|row| {
        let cell = |column: &str| table.cell(row, column).trim().to_owned();
        Exchanged {
            kind: Exchanged::LINE_ITEM.to_owned(),
            sourced_id: cell("sourcedId"),
            name: cell("title"),
            belongs_to: cell("categorySourcedId"),
            within: cell("classSourcedId"),
            ..Exchanged::default()
        }
    });
    items
        .filter(|item| classes.contains(item.within.as_str()))
        .collect()
}

/// Whether the course keeps names of an exchange.
pub(super) fn is_kept(term: &Term) -> bool {
    kept_of(term, Exchanged::CLASS).next().is_some()
}

fn kept_of<'t>(term: &'t Term, kind: &'static str) -> impl Iterator<Item = &'t Exchanged> {
    term.exchanged.values().filter(move |one| one.kind == kind)
}

/// The line item of the exchange that is an experiment: by its title or its key.
pub(super) fn kept_line_item<'t>(
    term: &'t Term,
    experiment: &Experiment,
    class: &str,
) -> Option<&'t Exchanged> {
    let titles = [experiment.procedure.title.trim(), experiment.key.as_str()];
    kept_of(term, Exchanged::LINE_ITEM)
        .filter(|one| one.within == class)
        .find(|one| titles.iter().any(|t| t.eq_ignore_ascii_case(&one.name)))
}

/// The classes the course keeps, with the students it has a sourcedId of. A student has the class of the section they
/// are in now.
pub(super) fn kept_places(
    term: &Term,
    judged: &[(Slot, Judged)],
    wanted: &Export<'_>,
) -> Result<(Version, Vec<Place>), Vec<Fault>> {
    let mut faults = Vec::new();
    let sessions = Sessions::kept(term);
    let classes: BTreeMap<&str, &Exchanged> = kept_of(term, Exchanged::CLASS)
        .map(|class| (class.name.as_str(), class))
        .collect();
    if !wanted.leave_out {
        let graded: BTreeSet<&str> = judged
            .iter()
            .map(|(slot, _)| slot.student.as_str())
            .collect();
        let lost = term.enrolled().filter(|student| {
            let is_named = !student.sourced_id.is_empty();
            graded.contains(student.id.as_str())
                && !(is_named && classes.contains_key(student.section.as_str()))
        });
        faults.extend(lost.map(|student| {
            let what = format!(
                "found no sourcedId of {}, who has results, or none of section {}, expected both as a roster of OneRoster files brings them: bring it in once more, or leave out who is in none",
                student.id, student.section
            );
            Fault::of_file("roster.csv", what).in_column("sourced_id")
        }));
    }
    let mut places = Vec::new();
    for (section, class) in classes {
        let named = term.enrolled_of(section).into_iter();
        let named = named.filter(|student| !student.sourced_id.is_empty());
        let students: Vec<_> = named
            .map(|student| (student.id.clone(), student.sourced_id.clone()))
            .collect();
        if students.is_empty() {
            continue;
        }
        let terms = Class {
            title: class.name.clone(),
            terms: class.within.clone(),
            ..Class::default()
        };
        places.push(Place {
            sessions: days(term, &sessions, section, &terms, &mut faults),
            class: class.sourced_id.clone(),
            school: class.belongs_to.clone(),
            section: section.to_owned(),
            students,
        });
    }
    let version =
        kept_of(term, Exchanged::VERSION).find_map(|one| Version::from_name(&one.sourced_id));
    if faults.is_empty() {
        Ok((version.unwrap_or(wanted.version), places))
    } else {
        Err(faults)
    }
}
