//! What the journal says of the past.

use jiff::Timestamp;

use super::Desk;
use crate::changes::{Change, ChangeKind, LotValue, Made, SetRelease, UnknownValue};
use crate::ids::{ExperimentKey, SectionName};
use crate::store::{Connection, StoreError, entries, judgement_history};
use crate::term::{Correction, Slot, corrections};
use crate::truth::Assigned;

/// One value of a lot or an unknown. An unknown's is a secret of the course: `Debug` does not show it.
#[derive(Clone)]
pub struct ValueVersion {
    /// Code of the lot or unknown.
    pub code: String,
    /// From 1.
    pub version: u32,
    /// mol/L for a lot; the experiment's result unit for an unknown.
    pub value: Assigned,
    /// Why it replaced the one before; empty for the first.
    pub reason: String,
    /// Login of who entered it.
    pub by: String,
    pub at: Timestamp,
}

impl Desk {
    /// Every value the lots ever had, in order of lot and version.
    pub async fn lot_history(&self) -> Result<Vec<ValueVersion>, StoreError> {
        let all = made_of::<LotValue>(&mut *self.store().read().await?).await?;
        let version = |(LotValue { lot, reason, .. }, made): (LotValue, Made)| ValueVersion {
            code: lot.code.to_string(),
            version: lot.version,
            value: lot.molarity,
            reason,
            by: made.by,
            at: made.at,
        };
        Ok(in_order(all.into_iter().map(version)))
    }

    /// Every value the unknowns of an experiment ever had, in order of code and version. They are true values.
    pub async fn unknown_history(
        &self,
        experiment: &ExperimentKey,
    ) -> Result<Vec<ValueVersion>, StoreError> {
        let mut all = made_of::<UnknownValue>(&mut *self.store().read().await?).await?;
        all.retain(|(value, _)| value.experiment == *experiment);
        let version = |(value, made): (UnknownValue, Made)| ValueVersion {
            code: value.unknown.code.to_string(),
            version: value.unknown.version,
            value: *value.unknown.truth.open(),
            reason: value.reason,
            by: made.by,
            at: made.at,
        };
        Ok(in_order(all.into_iter().map(version)))
    }

    /// Corrections of the values a submission rests on, since its results were first released: what its student hears.
    pub async fn corrections(&self, slot: &Slot) -> Result<Vec<Correction>, StoreError> {
        let section = {
            let view = self.view().await?;
            let student = view.term.student(&slot.student);
            student.map_or_else(|| SectionName::new(""), |s| s.section.clone())
        };
        let mut connection = self.store().read().await?;
        let releases = made_of::<SetRelease>(&mut connection).await?;
        let to_them = |one: &SetRelease| {
            one.experiment == slot.experiment
                && one.section.as_ref().is_none_or(|name| *name == section)
                && one.released_at.is_some()
        };
        let first = releases.iter().find(|(one, _)| to_them(one));
        let Some((_, released)) = first else {
            return Ok(Vec::new());
        };
        let history = judgement_history(&mut connection, slot).await?;
        Ok(corrections(&history, released.at))
    }
}

/// Every change of a kind, oldest first.
async fn made_of<K: ChangeKind + TryFrom<Change>>(
    connection: &mut Connection,
) -> Result<Vec<(K, Made)>, StoreError> {
    let entries = entries(connection, K::NAME).await?.into_iter();
    let of_kind = |(change, made)| Some((K::try_from(change).ok()?, made));
    Ok(entries.filter_map(of_kind).collect())
}

fn in_order(versions: impl Iterator<Item = ValueVersion>) -> Vec<ValueVersion> {
    let mut versions: Vec<ValueVersion> = versions.collect();
    versions.sort_by(|a, b| (&a.code, a.version).cmp(&(&b.code, b.version)));
    versions
}
