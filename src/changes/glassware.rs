//! The course's own glassware file, and the whole table with it.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, Texts};
use crate::ids::StudentId;
use crate::measure::GlasswareTable;
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct OwnGlassware {
    pub text: String,
    /// What the text says, with what is shipped.
    #[serde(skip)]
    pub table: Option<GlasswareTable>,
}

impl ChangeKind for OwnGlassware {
    const NAME: &'static str = "glassware";

    fn subject(&self) -> String {
        String::new()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn revive(&mut self, _: &Term, texts: &dyn Texts) -> Result<(), String> {
        self.table = Some(texts.glassware(Some(&self.text))?);
        Ok(())
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.sources.glassware = Some(self.text.clone());
        if let Some(table) = &self.table {
            term.glassware = table.clone().into();
        }
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::All
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let text = incoming.sources.glassware.as_ref();
        let text = text.filter(|text| held.sources.glassware.as_ref() != Some(text));
        let change = |text: &String| Self {
            text: text.clone(),
            table: Some(GlasswareTable::clone(&incoming.glassware)),
        };
        text.map(change).into_iter().collect()
    }
}
