//! `lots.csv` and `unknowns.csv`: lots and unknowns whose value is stated.

use rust_decimal::Decimal;

use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::term::Term;
use crate::text::{
    Fault, Known, Once, RecordColumn, RecordFile, again, column, day, decimal, if_any,
    line_of_text, whole,
};
use crate::truth::{Assigned, Bottle, Lot, Sealed, ShelfLife, Unknown};

/// A row of either file: a lot has a reagent, an unknown an experiment.
struct StatedValue<C> {
    experiment: ExperimentKey,
    code: C,
    reagent: String,
    value: Decimal,
    uncertainty: Decimal,
    version: u32,
    life: ShelfLife,
}

impl<C: Default> StatedValue<C> {
    fn new() -> Self {
        Self {
            experiment: ExperimentKey::default(),
            code: C::default(),
            reagent: String::new(),
            value: Decimal::ONE,
            uncertainty: Decimal::ZERO,
            version: 1,
            life: ShelfLife::default(),
        }
    }

    fn with(self, assigned: &Assigned, version: u32, life: Option<&ShelfLife>) -> Self {
        Self {
            value: assigned.value,
            uncertainty: assigned.standard_uncertainty,
            version,
            life: life.copied().unwrap_or_default(),
            ..self
        }
    }

    fn assigned(&self) -> Assigned {
        Assigned {
            value: self.value,
            standard_uncertainty: self.uncertainty,
        }
    }

    /// The columns of what it is, then those of its value, then those that only some courses need.
    fn columns(
        named: [RecordColumn<Self>; 2],
        value: &'static str,
        uncertainty: &'static str,
    ) -> Vec<RecordColumn<Self>> {
        let others = [
            column!(Self: value, value, above_zero).plain(),
            column!(Self: uncertainty, uncertainty, zero_or_more).plain(),
            RecordColumn::new(
                "version",
                |one: &mut Self, text, _| {
                    let read = if_any(text, |text| whole(text, 1..=1_000_000));
                    read.map(|version| one.version = version.unwrap_or(1))
                },
                |one| one.version.to_string(),
            )
            .if_used(|one| one.version > 1),
            column!(Self: "made", life.made, any day).if_used(|one| one.life.made.is_some()),
            column!(Self: "expires", life.expires, any day)
                .if_used(|one| one.life.expires.is_some()),
        ];
        named.into_iter().chain(others).collect()
    }
}

fn above_zero(text: &str) -> Result<Decimal, String> {
    let assigned = Assigned::new(decimal(text)?, Decimal::ZERO);
    assigned.map_err(|(_, what)| what).map(|one| one.value)
}

fn zero_or_more(text: &str) -> Result<Decimal, String> {
    let assigned = Assigned::new(Decimal::ONE, decimal(text)?);
    let assigned = assigned.map_err(|(_, what)| what);
    assigned.map(|one| one.standard_uncertainty)
}

fn lots_file() -> RecordFile<StatedValue<LotCode>> {
    type Row = StatedValue<LotCode>;
    let named = [
        column!(Row: "lot", code, LotCode::parse),
        column!(Row: "reagent", reagent, line_of_text),
    ];
    RecordFile {
        name: "lots.csv",
        new: Row::new,
        columns: Row::columns(
            named,
            "molarity_mol_per_L",
            "standard_uncertainty_mol_per_L",
        ),
        once: &["lot"],
    }
}

fn unknowns_file() -> RecordFile<StatedValue<UnknownCode>> {
    type Row = StatedValue<UnknownCode>;
    let experiment = column!(Row: "experiment", experiment, known experiment);
    // a code written on a hand-in is compared without regard to case
    let code = column!(Row: "unknown", code, UnknownCode::parse).in_any_case();
    RecordFile {
        name: "unknowns.csv",
        new: Row::new,
        columns: Row::columns([experiment, code], "true_value", "standard_uncertainty"),
        once: &["experiment", "unknown"],
    }
}

pub(super) fn read_lots(bytes: &[u8], faults: &mut Vec<Fault>) -> Vec<(Lot, ShelfLife)> {
    let rows = lots_file().read(bytes, &Known::default(), faults);
    let lot = |row: StatedValue<LotCode>| {
        let lot = Lot {
            molarity: row.assigned(),
            code: row.code,
            reagent: row.reagent,
            version: row.version,
            standardised: None,
        };
        (lot, row.life)
    };
    rows.into_iter().map(lot).collect()
}

/// Reads pasted lines of code, value and standard uncertainty, with commas, semicolons or tabs between. Empty lines are
/// passed over.
pub fn read_value_lines(text: &str) -> Result<Vec<(UnknownCode, Assigned)>, Vec<Fault>> {
    let (mut values, mut faults) = (Vec::new(), Vec::new());
    let mut once = Once::new();
    for (line, text) in (1_u64..).zip(text.lines()) {
        if text.trim().is_empty() {
            continue;
        }
        let mut fault = |column: &str, what: String| {
            let fault = Fault::of_file("pasted lines", what).at(line);
            faults.push(if column.is_empty() {
                fault
            } else {
                fault.in_column(column)
            });
        };
        // where another separator stands, commas are decimal
        let other = [';', '\t'].into_iter().find(|mark| text.contains(*mark));
        let plain = match other {
            Some(_) => text.replace(',', "."),
            None => text.to_owned(),
        };
        let cells: Vec<&str> = plain.split(other.unwrap_or(',')).collect();
        let [own, value, uncertainty] = cells.as_slice() else {
            let what = format!(
                "found {} cells, expected 3: code, value, standard uncertainty",
                cells.len()
            );
            fault("", what);
            continue;
        };
        let own = UnknownCode::parse(own)
            .map_err(|what| fault("code", what))
            .ok();
        let value = decimal(value).map_err(|what| fault("value", what)).ok();
        let uncertainty = decimal(uncertainty)
            .map_err(|what| fault("uncertainty", what))
            .ok();
        if let Some(own) = &own
            // a code written on a hand-in is compared without regard to case
            && let Some(first) = once.seen(own.to_ascii_lowercase(), line)
        {
            fault("code", again(own, first));
            continue;
        }
        let (Some(own), Some(value), Some(uncertainty)) = (own, value, uncertainty) else {
            continue;
        };
        match Assigned::new(value, uncertainty) {
            Ok(assigned) => values.push((own, assigned)),
            Err((column, what)) => fault(column, what),
        }
    }
    if values.is_empty() && faults.is_empty() {
        faults.push(Fault::of_file(
            "pasted lines",
            "found nothing, expected a line for each unknown",
        ));
    }
    if faults.is_empty() {
        Ok(values)
    } else {
        Err(faults)
    }
}

/// The unknowns whose value is stated, each with its experiment.
pub(super) fn read_unknowns(
    bytes: &[u8],
    known: &Known,
    faults: &mut Vec<Fault>,
) -> Vec<(ExperimentKey, Unknown, ShelfLife)> {
    let rows = unknowns_file().read(bytes, known, faults);
    let unknown = |row: StatedValue<UnknownCode>| {
        let unknown = Unknown {
            truth: Sealed::new(row.assigned()),
            code: row.code,
            version: row.version,
        };
        (row.experiment, unknown, row.life)
    };
    rows.into_iter().map(unknown).collect()
}

/// The lots of a term that have no preparation record; none if there is none.
pub(super) fn write_lots(term: &Term) -> Option<String> {
    let stated = term.lots.values();
    let stated = stated.filter(|lot| !term.sources.lots.contains_key(&lot.code));
    let row = |lot: &Lot| {
        let life = term.shelf.get(&Bottle::Lot(lot.code.clone()));
        let row = StatedValue {
            code: lot.code.clone(),
            reagent: lot.reagent.clone(),
            ..StatedValue::new()
        };
        row.with(&lot.molarity, lot.version, life)
    };
    lots_file().write_any(&stated.map(row).collect::<Vec<_>>())
}

/// The unknowns of a term that have no preparation record; none if there is none.
pub(super) fn write_unknowns(term: &Term) -> Option<String> {
    let mut rows = Vec::new();
    for experiment in &term.experiments {
        let key = &experiment.key;
        for (code, unknown) in term.unknowns.get(key).into_iter().flatten() {
            let named = (key.clone(), code.clone());
            if !term.sources.unknowns.contains_key(&named) {
                let row = StatedValue {
                    experiment: key.clone(),
                    code: code.clone(),
                    ..StatedValue::new()
                };
                let life = term.shelf.get(&Bottle::unknown(key, code));
                rows.push(row.with(unknown.truth.open(), unknown.version, life));
            }
        }
    }
    unknowns_file().write_any(&rows)
}
