//! Whether students are told what was in their bottles.

use crate::changes::{Change, ChangeForm, SetExperiment, Who};
use crate::form::{Faults, Field, Form, Typed};
use crate::ids::ExperimentKey;
use crate::term::{ExperimentSource, Term};

/// Asked for one experiment, by its key.
pub struct ShowTruth(pub ExperimentKey);

impl ShowTruth {
    fn source<'t>(&self, term: &'t Term) -> Option<&'t ExperimentSource> {
        term.sources.experiments.get(&self.0)
    }
}

impl ChangeForm for ShowTruth {
    fn form(&self, _: &Term, _: &Typed) -> Form {
        let tick =
            "Tell students what was in their bottles, once the results are out for every section";
        let mut form = Form::of(vec![Field::tick("show", tick)])
            .note("They then see the true value, how far they are off, and where the class lies. Leave it off where bottles are used again; the reason for their points says in any case how far they are off, though not to which side.")
            .enter("Keep this choice");
        form.buttons
            .iter_mut()
            .for_each(|button| button.quiet = true);
        form
    }

    fn held(&self, term: &Term, _: &Typed) -> Typed {
        let shown = self.source(term).is_some_and(|source| source.show_truth);
        shown.then_some(("show", "yes")).into_iter().collect()
    }

    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let show_truth = self.form(term, typed).read(typed).is_ticked("show");
        let experiment = term.experiment(&self.0).zip(self.source(term));
        let differs = experiment.filter(|(_, source)| source.show_truth != show_truth);
        let change = differs.map(|(experiment, source)| {
            SetExperiment::new(
                experiment.clone(),
                ExperimentSource {
                    show_truth,
                    ..source.clone()
                },
            )
            .into()
        });
        Ok(change.into_iter().collect())
    }
}
