//! A course set up, and experiments added to it.

use std::collections::BTreeMap;

use super::dates::{date_fields, read_dates};
use crate::changes::{Change, ChangeForm, SetExperiment, SetProcedure, Texts, Who};
use crate::course::{Course, Experiment, Zone};
use crate::desk::FileTexts;
use crate::files;
use crate::form::{Faults, Field, Form, Typed};
use crate::ids::ExperimentKey;
use crate::language::Language;
use crate::procedure::Procedure;
use crate::term::{ExperimentSource, Term};
use crate::text::found;

/// An experiment by a procedure that the course has or that is shipped.
pub struct NewExperiment;

/// The zones that can be chosen: those of places.
fn zones() -> Vec<String> {
    let names = jiff::tz::db().available();
    let names = names.map(|name| name.as_str().to_owned());
    let is_place = |name: &String| {
        let area = name.split('/').next().unwrap_or_default();
        name.contains('/') && !["Etc", "SystemV", "posix", "right"].contains(&area)
    };
    names.filter(is_place).collect()
}

/// What is asked where there is no course yet.
pub fn course_form() -> Form {
    let zones = zones().into_iter().map(|zone| (zone, String::new()));
    Form::of(vec![
        Field::text("title", "Title")
            .hint("as students see it, such as Quantitative analysis")
            .needed()
            .wide(),
        Field::text("term", "Term")
            .hint("such as Autumn 2026")
            .needed()
            .wide(),
        Field::text("time_zone", "Time zone")
            .hint("every date of the course is in it: choose the one of a large city near you, such as Europe/Lisbon")
            .suggest(zones.collect())
            .wide(),
        language_field(),
    ])
    .title("By hand")
    .enter("Set up the course")
}

/// A course from what was typed.
pub fn course_of(typed: &Typed) -> Result<Course, Faults> {
    let mut read = course_form().read(typed);
    let zone = read.keep("time_zone", zone(typed.text("time_zone")));
    let text = |name: &str| read.text(name).map(str::to_owned);
    match (text("title"), text("term"), zone) {
        (Some(title), Some(term), Some(zone)) => Ok(Course {
            title,
            term,
            zone,
            language: read
                .said("language")
                .and_then(Language::from_code)
                .unwrap_or_default(),
        }),
        _ => Err(read.into_faults()),
    }
}

/// What students are to read.
pub fn language_field() -> Field {
    let languages = Language::ALL.map(|one| (one.code().to_owned(), one.words().to_owned()));
    Field::of_list("language", "Language", languages.into())
        .hint("what students read; pages of staff are in English")
        .wide()
}

/// A zone by its name, which a fault names where only the city was typed.
fn zone(typed: &str) -> Result<Zone, String> {
    Zone::new(typed).map_err(|what| {
        let city = typed.trim().replace(' ', "_").to_lowercase();
        let is_of_city =
            |zone: &String| zone.rsplit('/').next().map(str::to_lowercase) == Some(city.clone());
        match zones().into_iter().find(is_of_city) {
            Some(zone) => found(typed, &format!("an IANA time zone such as {zone}")),
            None => what,
        }
    })
}

/// Titles of the procedures an experiment can be added by, by key: the course's own, then the shipped ones.
pub fn procedure_titles(term: &Term) -> BTreeMap<String, String> {
    let all = procedures(term).into_iter();
    all.map(|(key, procedure)| (key, procedure.title.clone()))
        .collect()
}

fn procedures(term: &Term) -> BTreeMap<String, Procedure> {
    let mut texts: BTreeMap<String, String> = files::shipped_procedures().into_iter().collect();
    texts.extend(term.sources.procedures.clone());
    let read = |(key, text): (String, String)| {
        let procedure = files::read_procedure(&format!("{key}.toml"), &text, &term.glassware);
        Some((key, procedure.ok()?))
    };
    texts.into_iter().filter_map(read).collect()
}

/// Every procedure that can be chosen, each kind of work under a line of its own.
fn by_scheme(term: &Term) -> Vec<(String, String)> {
    let mut kinds: BTreeMap<String, Vec<(String, String)>> = BTreeMap::new();
    for (key, procedure) in procedures(term) {
        let kind = crate::words::sentence(procedure.scheme.words());
        let choices = kinds.entry(kind).or_default();
        choices.push((key, procedure.title.clone()));
    }
    let with_head = |(kind, mut choices): (String, Vec<(String, String)>)| {
        choices.sort_by(|a, b| a.1.cmp(&b.1));
        choices.insert(0, (String::new(), kind));
        choices
    };
    kinds.into_iter().flat_map(with_head).collect()
}

impl ChangeForm for NewExperiment {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        let zone = term.course.zone.name();
        let procedures = by_scheme(term);
        let mut fields = vec![
            Field::choice("procedure", "Procedure", "choose", procedures)
                .expected("the key of a procedure of the course or a shipped one")
                .needed()
                .wide(),
            Field::text("key", "Key")
                .hint("names it in files and in the gradebook, such as vinegar; left empty it is the procedure's own")
                .wide(),
        ];
        fields.extend(date_fields());
        Form::of(fields)
            .title("Add an experiment")
            .note(format!("Both are by the clocks of {zone}."))
            .enter("Add the experiment")
    }

    fn held(&self, _: &Term, query: &Typed) -> Typed {
        query.only(|name| name == "procedure")
    }

    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let mut read = self.form(term, typed).read(typed);
        let key = match typed.text("key") {
            "" => typed.text("procedure"),
            key => key,
        };
        let key = read.keep("key", ExperimentKey::parse(key));
        if let Some(key) = key.as_ref().filter(|key| term.experiment(key).is_some()) {
            let expected = "a key no experiment of the course has yet";
            read.fault("key", crate::text::found(key, expected));
        }
        let dates = read_dates(&mut read);
        read.check()?;
        let (Some(key), Some(dates)) = (key, dates) else {
            return Err(read.into_faults());
        };
        let source = ExperimentSource {
            procedure: typed.text("procedure").to_owned(),
            ..ExperimentSource::default()
        };
        let mut changes = Vec::new();
        let held = term.sources.procedures.get(&source.procedure).cloned();
        let text = match held.or_else(|| files::shipped_procedure(&source.procedure)) {
            Some(text) => text,
            None => return Err(read.into_faults()),
        };
        if !term.sources.procedures.contains_key(&source.procedure) {
            changes.push(Change::Procedure(SetProcedure {
                key: source.procedure.clone(),
                text: text.clone(),
            }));
        }
        let procedure = FileTexts
            .procedure(&text, &source, &term.glassware)
            .map_err(|why| Faults::one("procedure", why))?;
        let experiment = Experiment {
            key,
            procedure,
            dates,
            section_lots: BTreeMap::new(),
            section_dates: BTreeMap::new(),
        };
        changes.push(SetExperiment::new(experiment, source).into());
        Ok(changes)
    }
}
