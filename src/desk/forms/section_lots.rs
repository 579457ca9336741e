//! The lots that sections work with.

use crate::changes::{Change, ChangeForm, Who, experiment, experiment_as};
use crate::chem::{Formula, printed};
use crate::course::{Experiment, SectionLots};
use crate::form::{Faults, Field, Form, Typed, named};
use crate::ids::{ExperimentKey, LotCode, SectionName};
use crate::term::Term;

/// Asked for one experiment, by its key.
pub struct SectionLotsForm(pub ExperimentKey);

impl SectionLotsForm {
    /// What an experiment takes from bottles with a lot: the names of the fields, what it is called, and its formula.
    fn reagents(experiment: &Experiment) -> Vec<(&'static str, &'static str, Formula)> {
        let procedure = &experiment.procedure;
        let titrant = procedure.lot_reagent();
        let titrant = titrant.filter(|_| procedure.uses_titrant_lot());
        let titrant = titrant.map(|(species, _)| species.clone());
        let excess = procedure.excess().map(|e| e.species.clone());
        let kinds = [
            ("titrant", "Titrant", titrant),
            ("excess", "Excess", excess),
        ];
        let used = |(name, label, species)| Some((name, label, species?));
        kinds.into_iter().filter_map(used).collect()
    }

    /// The lots there are of a reagent.
    pub fn lots_of<'t>(term: &'t Term, species: &Formula) -> Vec<&'t str> {
        let of = |reagent: &str| Formula::parse(reagent).is_ok_and(|f| f == *species);
        let lots = term.lots.values().filter(|lot| of(&lot.reagent));
        lots.map(|lot| lot.code.as_str()).collect()
    }

    /// Reagents that an experiment takes from a lot and of which there is none.
    pub fn missing(term: &Term, experiment: &Experiment) -> Vec<String> {
        let reagents = Self::reagents(experiment).into_iter();
        let none = reagents.filter(|(_, _, species)| Self::lots_of(term, species).is_empty());
        none.map(|(_, _, species)| species.written().to_owned())
            .collect()
    }
}

impl ChangeForm for SectionLotsForm {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        let mut form = Form::default()
            .title("Lots by section")
            .in_rows()
            .enter("Assign the lots");
        form.buttons
            .iter_mut()
            .for_each(|button| button.quiet = true);
        let Some(experiment) = term.experiment(&self.0) else {
            return form;
        };
        let reagents = Self::reagents(experiment);
        let row = |of: &str, nothing| {
            let field = |(name, label, species): &(&str, &str, Formula)| {
                let lots = named(Self::lots_of(term, species));
                let label = format!("{label}, {}", printed(species.written()));
                Field::choice(format!("{name}{of}"), label, nothing, lots)
                    .expected("a lot of the course")
            };
            reagents.iter().map(field).collect()
        };
        form = form.group("Every section", row("-all", "as below"));
        for section in term.sections() {
            form = form.group(section, row(&format!(":{section}"), "not assigned"));
        }
        form
    }

    fn held(&self, term: &Term, _: &Typed) -> Typed {
        let experiment = term.experiment(&self.0).into_iter();
        let sections = experiment.flat_map(|e| &e.section_lots);
        let fields = sections.flat_map(|(section, lots)| {
            [("titrant", &lots.titrant), ("excess", &lots.excess)]
                .map(|(name, lot)| (format!("{name}:{section}"), lot.as_ref()))
        });
        fields
            .filter_map(|(name, lot)| Some((name, lot?.as_str())))
            .collect()
    }

    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let mut after = experiment(term, &self.0)?.clone();
        let read = self.form(term, typed).read(typed);
        read.check()?;
        let chosen = |kind: &str, section: &str| {
            let all = read.said(&format!("{kind}-all"));
            let own = || read.said(&format!("{kind}:{section}"));
            all.or_else(own).map(LotCode::new)
        };
        after.section_lots.clear();
        for section in term.sections() {
            let lots = SectionLots {
                titrant: chosen("titrant", section),
                excess: chosen("excess", section),
            };
            if lots != SectionLots::default() {
                after.section_lots.insert(SectionName::new(section), lots);
            }
        }
        Ok(experiment_as(term, after))
    }
}
