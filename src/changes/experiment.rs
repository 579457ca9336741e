//! An experiment, new or with other dates, lots or marking.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, Replaced, Texts, put};
use crate::course::{Experiment, SectionDates, SectionLots};
use crate::ids::{ExperimentKey, SectionName, StudentId};
use crate::procedure::{Dates, Procedure, marking_in_words, trials_in_words};
use crate::term::{ExperimentSource, Term};
use crate::words::local;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct SetExperiment {
    pub key: ExperimentKey,
    #[serde(flatten)]
    pub dates: Dates,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub section_lots: BTreeMap<SectionName, SectionLots>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub section_dates: BTreeMap<SectionName, SectionDates>,
    #[serde(flatten)]
    pub source: ExperimentSource,
    /// What the texts named in the source come to.
    #[serde(skip)]
    pub procedure: Option<Box<Procedure>>,
}

impl SetExperiment {
    pub fn new(experiment: Experiment, source: ExperimentSource) -> Self {
        Self {
            key: experiment.key,
            dates: experiment.dates,
            section_lots: experiment.section_lots,
            section_dates: experiment.section_dates,
            source,
            procedure: Some(Box::new(experiment.procedure)),
        }
    }

    /// The experiment as it is to be; none before it is revived.
    pub fn experiment(&self) -> Option<Experiment> {
        Some(Experiment {
            key: self.key.clone(),
            procedure: (**self.procedure.as_ref()?).clone(),
            dates: self.dates,
            section_lots: self.section_lots.clone(),
            section_dates: self.section_dates.clone(),
        })
    }
}

impl ChangeKind for SetExperiment {
    const NAME: &'static str = "experiment";
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = dates_and_rules;

    fn subject(&self) -> String {
        self.key.to_string()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn revive(&mut self, term: &Term, texts: &dyn Texts) -> Result<(), String> {
        let key = &self.source.procedure;
        let text = term.sources.procedures.get(key);
        let text = text.ok_or_else(|| format!("no procedure {key}"))?;
        let procedure = texts.procedure(text, &self.source, &term.glassware)?;
        self.procedure = Some(Box::new(procedure));
        Ok(())
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        if let Some(experiment) = self.experiment() {
            let sources = &mut term.sources.experiments;
            sources.insert(self.key.clone(), self.source.clone());
            put(&mut term.experiments, &experiment, |e| &e.key);
        }
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Experiment(self.key.clone())
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let glassware = |term: &Term| term.sources.glassware.clone();
        let changed_glassware =
            glassware(incoming).is_some() && glassware(held) != glassware(incoming);
        let mut fresh = Vec::new();
        for experiment in &incoming.experiments {
            let source = incoming.sources.experiments.get(&experiment.key);
            let source = source.cloned().unwrap_or_default();
            let text = |term: &Term| term.sources.procedures.get(&source.procedure).cloned();
            let same = held.experiment(&experiment.key).is_some_and(|old| {
                old.dates == experiment.dates
                    && old.section_lots == experiment.section_lots
                    && old.section_dates == experiment.section_dates
                    && held.sources.experiments.get(&experiment.key) == Some(&source)
                    && text(held) == text(incoming)
            });
            if !same || changed_glassware {
                fresh.push(Self::new(experiment.clone(), source));
            }
        }
        fresh
    }
}

/// Dates, marking and rules for trials that differ.
fn dates_and_rules(change: &SetExperiment, term: &Term) -> Vec<Replaced> {
    let Some(new) = change.experiment() else {
        return Vec::new();
    };
    let Some(old) = term.experiment(&new.key) else {
        let due = local(new.dates.due);
        return vec![Replaced::plain("Due", "local time", "–", due)];
    };
    let mut rows = Vec::new();
    let mut date = |name: String, before, after| {
        if before != after {
            let (before, after) = (local(before), local(after));
            rows.push(Replaced::plain(name, "local time", before, after));
        }
    };
    date("Opens".to_owned(), old.dates.opens, new.dates.opens);
    date("Due".to_owned(), old.dates.due, new.dates.due);
    for section in term.sections() {
        let (before, after) = (old.dates_in(section), new.dates_in(section));
        if (before, after) != (old.dates, new.dates) {
            date(
                format!("Opens, section {section}"),
                before.opens,
                after.opens,
            );
            date(format!("Due, section {section}"), before.due, after.due);
        }
    }
    let said = |experiment: &Experiment| {
        let procedure = &experiment.procedure;
        let mut said = marking_in_words(&procedure.marking);
        said.push(("Trials", trials_in_words(procedure)));
        said
    };
    let (before, after) = (said(old), said(&new));
    let find = |said: &[(&str, String)], part: &str| {
        let found = said.iter().find(|(name, _)| *name == part);
        found.map_or("none".to_owned(), |(_, words)| words.clone())
    };
    let mut parts: Vec<&'static str> = before.iter().chain(&after).map(|(name, _)| *name).collect();
    parts.dedup();
    let mut seen = Vec::new();
    for part in parts {
        let (was, would) = (find(&before, part), find(&after, part));
        if was != would && !seen.contains(&part) {
            seen.push(part);
            rows.push(Replaced::plain(part, "", was, would));
        }
    }
    rows
}
