//! A procedure of the course's own: a text that experiments follow. Where hand-ins go by it, it is looked at first and
//! what stood before is kept.

use super::reason_for_rules;
use super::rules::still_readable;
use crate::changes::{Change, ChangeForm, Remarks, SetExperiment, SetProcedure, Texts, Who};
use crate::course::Experiment;
use crate::desk::FileTexts;
use crate::files;
use crate::form::{Faults, Field, Form, Typed};
use crate::language::Message;
use crate::store::hash;
use crate::term::{Amended, Amendment, ExperimentSource, Slot, Term};
use crate::text::Fault;

/// The text of a file, with the name the file had.
pub struct ProcedureText;

impl ProcedureText {
    /// The fields that bring a file.
    pub fn sent(name: &str, bytes: &[u8]) -> Result<Typed, Vec<Fault>> {
        let text = std::str::from_utf8(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes));
        let text = text.map_err(|why| {
            let what = format!(
                "found a byte that is not UTF-8 text after byte {}, expected a TOML file in UTF-8",
                why.valid_up_to()
            );
            vec![Fault::of_file(name, what)]
        })?;
        Ok(Typed::from([("name", name), ("text", text)]))
    }

    /// The key of a text and what it changes, or what is wrong with it, line by line.
    pub fn check(
        typed: &Typed,
        term: &Term,
        (login, at): Who<'_>,
    ) -> Result<(String, Vec<Change>), Vec<Fault>> {
        let (file, text) = (typed.text("name"), text_of(typed));
        let read = files::read_procedure(file, &text, &term.glassware)?;
        let key = read.key.clone();
        let before = term.sources.procedures.get(&key);
        if before.is_some_and(|held| *held == text) {
            return Ok((key, Vec::new()));
        }
        let mut changes = vec![Change::Procedure(SetProcedure {
            key: key.clone(),
            text: text.clone(),
        })];
        for (experiment, source) in followers(term, &key) {
            let read = FileTexts.procedure(&text, source, &term.glassware);
            let procedure = read.map_err(|why| vec![Fault::of_file(file, why)])?;
            changes.push(
                SetExperiment::new(
                    Experiment {
                        procedure,
                        ..experiment.clone()
                    },
                    source.clone(),
                )
                .into(),
            );
        }
        if handed_in_by_procedure(term, &key) > 0 {
            changes.push(Change::Amend(Amendment {
                what: Amended::Procedure,
                key: key.clone(),
                before: before.cloned(),
                reason: typed.text("reason").to_owned(),
                by: login.to_owned(),
                at,
            }));
        }
        still_readable(term, &changes).map_err(|faults| {
            let of_file = |(_, what): (&str, &Message)| Fault::of_file(file, what.to_string());
            faults.iter().map(of_file).collect::<Vec<_>>()
        })?;
        Ok((key, changes))
    }
}

impl ChangeForm for ProcedureText {
    fn form(&self, _: &Term, _: &Typed) -> Form {
        Form::of(vec![Field::hidden("name"), Field::hidden("text")])
    }

    fn changes(&self, typed: &Typed, term: &Term, who: Who<'_>) -> Result<Vec<Change>, Faults> {
        Self::check(typed, term, who)
            .map(|(_, changes)| changes)
            .map_err(|faults| {
                let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
                Faults::one("text", said.join("; "))
            })
    }

    fn seen(&self, typed: &Typed, term: &Term) -> Option<String> {
        let key = files::read_procedure(typed.text("name"), &text_of(typed), &term.glassware);
        let text = key.ok().and_then(|p| term.sources.procedures.get(&p.key));
        Some(hash(text.map_or("", String::as_str)))
    }

    fn reason(&self, changes: &[Change]) -> Option<Field> {
        let amends = changes.iter().any(|c| matches!(c, Change::Amend(_)));
        amends.then(reason_for_rules)
    }

    fn remarks(&self, _: &Term, _: &[Change]) -> Box<dyn FnOnce() -> Remarks + Send> {
        Box::new(|| {
            Remarks {
            warnings: Vec::new(),
            sentences: vec![
                "Students have handed in by the procedure of this key. Replaced, it marks everything anew at once; the text before is kept.".to_owned(),
            ],
        }
        })
    }
}

/// How many hand-ins there are for the experiments by a procedure.
pub fn handed_in_by_procedure(term: &Term, key: &str) -> usize {
    let followers = followers(term, key);
    let by_it = |slot: &&Slot| followers.iter().any(|(e, _)| e.key == slot.experiment);
    term.submissions.keys().filter(by_it).count()
}

/// A browser sends line ends as its own; the text is kept as it was in the file.
fn text_of(typed: &Typed) -> String {
    let text = typed.one("text").unwrap_or_default();
    text.replace("\r\n", "\n")
}

fn followers<'t>(term: &'t Term, key: &str) -> Vec<(&'t Experiment, &'t ExperimentSource)> {
    let with_source = |e: &'t Experiment| Some((e, term.sources.experiments.get(&e.key)?));
    let all = term.experiments.iter().filter_map(with_source);
    all.filter(|(_, source)| source.procedure == key).collect()
}
