//! Reads the texts that the database keeps as they were written.

use crate::changes::Texts;
use crate::files;
use crate::measure::GlasswareTable;
use crate::procedure::Procedure;
use crate::term::ExperimentSource;

/// The formats of the course folder.
#[derive(Clone, Copy, Debug)]
pub struct FileTexts;

impl Texts for FileTexts {
    fn glassware(&self, own: Option<&str>) -> Result<GlasswareTable, String> {
        let mut table = files::shipped_glassware();
        if let Some(text) = own {
            let own = files::read_glassware("glassware.toml", text).map_err(all)?;
            own.iter().cloned().for_each(|piece| table.insert(piece));
        }
        Ok(table)
    }

    fn procedure(
        &self,
        text: &str,
        source: &ExperimentSource,
        glassware: &GlasswareTable,
    ) -> Result<Procedure, String> {
        let file = format!("procedures/{}.toml", source.procedure);
        let procedure = files::read_procedure(&file, text, glassware).map_err(all)?;
        let marking = source
            .marking
            .as_deref()
            .map(|text| files::read_marking("course.toml", text))
            .transpose()
            .map_err(all)?;
        let trials = source
            .trials
            .as_deref()
            .map(|text| files::read_trials("course.toml", text))
            .transpose()
            .map_err(all)?;
        Ok(procedure.with(trials, marking))
    }
}

fn all(faults: Vec<crate::text::Fault>) -> String {
    faults
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("; ")
}
