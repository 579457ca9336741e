//! Procedures of the course's own.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{Desk, FileTexts};
use crate::change::Change;
use crate::course::Experiment;
use crate::files;
use crate::store::{StoreError, Texts};
use crate::term::Term;
use crate::text::Fault;

/// Why a procedure was not taken.
#[derive(Debug, thiserror::Error)]
pub enum ProcedureError {
    /// Its text is at fault.
    #[error("found {} faults in the procedure", .0.len())]
    Faults(Vec<Fault>),
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Keys and titles of the procedures an experiment can have: the course's own and the shipped ones, by key.
pub fn procedure_titles(term: &Term) -> BTreeMap<String, String> {
    let mut texts: BTreeMap<String, String> = files::shipped_procedures().into_iter().collect();
    texts.extend(term.sources.procedures.clone());
    let title = |(key, text): (String, String)| {
        let file = format!("{key}.toml");
        let procedure = files::read_procedure(&file, &text, &term.glassware).ok()?;
        Some((key, procedure.title.clone()))
    };
    texts.into_iter().filter_map(title).collect()
}

/// Takes a procedure file. Experiments by that procedure follow it, as long as nothing is handed in for them.
/// Returns its key.
pub async fn enter_procedure(
    desk: &Desk,
    file: &str,
    bytes: &[u8],
    (login, at): (&str, Timestamp),
) -> Result<String, ProcedureError> {
    let text = std::str::from_utf8(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes));
    let text = text.map_err(|why| {
        let what = format!(
            "found a byte that is not UTF-8 text after byte {}, expected a TOML file in UTF-8",
            why.valid_up_to()
        );
        ProcedureError::Faults(vec![Fault::of_file(file, what)])
    })?;
    let mut entered = String::new();
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, ProcedureError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let procedure = files::read_procedure(file, text, &term.glassware)
            .map_err(ProcedureError::Faults)?;
        let key = procedure.key.clone();
        entered.clone_from(&key);
        if term.sources.procedures.get(&key).is_some_and(|held| held == text) {
            return Ok(Vec::new());
        }
        let mut changes = vec![Change::Procedure {
            key: key.clone(),
            text: text.to_owned(),
        }];
        for experiment in &term.experiments {
            let Some(source) = term.sources.experiments.get(&experiment.key) else {
                continue;
            };
            if source.procedure != key {
                continue;
            }
            let handed_in = term.submissions.keys().filter(|s| s.experiment == experiment.key).count();
            if handed_in > 0 {
                let what = format!(
                    "found \u{201c}{key}\u{201d}, expected another key: {handed_in} have handed in for {} by the procedure of that key",
                    experiment.key
                );
                let fault = Fault::of_file(file, what).in_column("key");
                return Err(ProcedureError::Faults(vec![fault]));
            }
            let read = FileTexts.procedure(text, source, &term.glassware);
            let procedure = read
                .map_err(|why| ProcedureError::Faults(vec![Fault::of_file(file, why)]))?;
            let experiment = Experiment {
                procedure,
                ..experiment.clone()
            };
            changes.push(Change::Experiment {
                experiment: Box::new(experiment),
                source: source.clone(),
            });
        }
        Ok(changes)
    })
    .await?;
    Ok(entered)
}
