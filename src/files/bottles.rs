//! `lots.csv` and `unknowns.csv`.

use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::term::Term;
use crate::text::{
    Columns, Fault, Known, Once, Row, Table, again, day, decimal, guarded, line_of_text, whole,
    write_csv,
};
use crate::truth::{Assigned, Bottle, Lot, Sealed, ShelfLife, Unknown};

const MOLARITY: [&str; 2] = ["molarity_mol_per_L", "standard_uncertainty_mol_per_L"];
const TRUTH: [&str; 2] = ["true_value", "standard_uncertainty"];
const MAY: [&str; 3] = ["version", "made", "expires"];

/// Reads the lots whose molarity is stated.
pub(super) fn read_lots(bytes: &[u8], faults: &mut Vec<Fault>) -> Vec<(Lot, ShelfLife)> {
    let columns = Columns::new(&["lot", "reagent", MOLARITY[0], MOLARITY[1]], &MAY);
    let Some(table) = Table::read("lots.csv", bytes, &columns, faults) else {
        return Vec::new();
    };
    let mut once = Once::new();
    let mut lots = Vec::new();
    for row in &table.rows {
        let lot = table.get(row, "lot", LotCode::parse, faults);
        if let Some(lot) = &lot
            && let Some(first) = once.seen(lot.clone(), row.line)
        {
            faults.push(table.fault(row, "lot", again(lot, first)));
            continue;
        }
        let reagent = table.get(row, "reagent", line_of_text, faults);
        let molarity = assigned(&table, row, MOLARITY, faults);
        let version = version(&table, row, faults);
        let life = shelf_life(&table, row, faults);
        if let (Some(code), Some(reagent), Some(molarity)) = (lot, reagent, molarity) {
            let lot = Lot {
                code,
                reagent,
                molarity,
                version,
            };
            lots.push((lot, life));
        }
    }
    lots
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
        let cells: Vec<&str> = text.split(['\t', ',', ';']).collect();
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

/// Reads the unknowns whose value is stated, each with its experiment.
pub(super) fn read_unknowns(
    bytes: &[u8],
    known: &Known,
    faults: &mut Vec<Fault>,
) -> Vec<(ExperimentKey, Unknown, ShelfLife)> {
    let columns = Columns::new(&["experiment", "unknown", TRUTH[0], TRUTH[1]], &MAY);
    let Some(table) = Table::read("unknowns.csv", bytes, &columns, faults) else {
        return Vec::new();
    };
    let mut once = Once::new();
    let mut unknowns = Vec::new();
    for row in &table.rows {
        let experiment = table.get(row, "experiment", |text| known.experiment(text), faults);
        let code = table.get(row, "unknown", UnknownCode::parse, faults);
        if let (Some(experiment), Some(code)) = (&experiment, &code)
            // a code written on a hand-in is compared without regard to case
            && let Some(first) = once.seen((experiment.clone(), code.to_ascii_lowercase()), row.line)
        {
            faults.push(table.fault(row, "unknown", again(code, first)));
            continue;
        }
        let truth = assigned(&table, row, TRUTH, faults);
        let version = version(&table, row, faults);
        let life = shelf_life(&table, row, faults);
        if let (Some(experiment), Some(code), Some(truth)) = (experiment, code, truth) {
            let truth = Sealed::new(truth);
            unknowns.push((
                experiment,
                Unknown {
                    code,
                    truth,
                    version,
                },
                life,
            ));
        }
    }
    unknowns
}

fn assigned(
    table: &Table,
    row: &Row,
    [value, uncertainty]: [&str; 2],
    faults: &mut Vec<Fault>,
) -> Option<Assigned> {
    let read_value = table.get(row, value, decimal, faults);
    let read_uncertainty = table.get(row, uncertainty, decimal, faults);
    Assigned::new(read_value?, read_uncertainty?)
        .map_err(|(which, what)| {
            let column = if which == "value" { value } else { uncertainty };
            faults.push(table.fault(row, column, what));
        })
        .ok()
}

fn version(table: &Table, row: &Row, faults: &mut Vec<Fault>) -> u32 {
    let read = |text: &str| whole(text, 1..=1_000_000);
    table.get_if_any(row, "version", read, faults).unwrap_or(1)
}

fn shelf_life(table: &Table, row: &Row, faults: &mut Vec<Fault>) -> ShelfLife {
    ShelfLife {
        made: table.get_if_any(row, "made", day, faults),
        expires: table.get_if_any(row, "expires", day, faults),
    }
}

/// Columns at the end that only some courses need: version and days, each if any row has it.
struct AtTheEnd<'a> {
    rows: Vec<(u32, Option<&'a ShelfLife>)>,
}

impl AtTheEnd<'_> {
    fn uses(&self) -> [bool; 3] {
        let lives = || self.rows.iter().filter_map(|(_, life)| *life);
        [
            self.rows.iter().any(|(version, _)| *version > 1),
            lives().any(|life| life.made.is_some()),
            lives().any(|life| life.expires.is_some()),
        ]
    }

    fn header(&self) -> impl Iterator<Item = &'static str> {
        let used = MAY.into_iter().zip(self.uses());
        used.filter(|(_, used)| *used).map(|(name, _)| name)
    }

    fn cells(&self, row: usize) -> impl Iterator<Item = String> {
        let (version, life) = self.rows.get(row).copied().unwrap_or((1, None));
        let day = |day: Option<jiff::civil::Date>| day.map(|d| d.to_string()).unwrap_or_default();
        let life = life.copied().unwrap_or_default();
        let all = [version.to_string(), day(life.made), day(life.expires)];
        let used = all.into_iter().zip(self.uses());
        used.filter(|(_, used)| *used).map(|(cell, _)| cell)
    }
}

/// The lots of a term that have no preparation record; none if there is none.
pub(super) fn write_lots(term: &Term) -> Option<String> {
    let stated: Vec<&Lot> = term
        .lots
        .values()
        .filter(|lot| !term.sources.lots.contains_key(&lot.code))
        .collect();
    let life = |lot: &&Lot| {
        let bottle = Bottle::Lot(lot.code.clone());
        (lot.version, term.shelf.get(&bottle))
    };
    let end = AtTheEnd {
        rows: stated.iter().map(life).collect(),
    };
    let rows: Vec<_> = stated
        .iter()
        .enumerate()
        .map(|(index, lot)| {
            let molarity =
                [lot.molarity.value, lot.molarity.standard_uncertainty].map(|n| n.to_string());
            let mut cells = vec![guarded(&lot.code), guarded(&lot.reagent)];
            cells.extend(molarity);
            cells.extend(end.cells(index));
            cells
        })
        .collect();
    let mut header = vec!["lot", "reagent", MOLARITY[0], MOLARITY[1]];
    header.extend(end.header());
    (!rows.is_empty()).then(|| write_csv(&header, rows))
}

/// The unknowns of a term that have no preparation record; none if there is none.
pub(super) fn write_unknowns(term: &Term) -> Option<String> {
    let stated: Vec<(&ExperimentKey, &Unknown)> = term
        .experiments
        .iter()
        .filter_map(|experiment| Some((&experiment.key, term.unknowns.get(&experiment.key)?)))
        .flat_map(|(key, unknowns)| unknowns.values().map(move |unknown| (key, unknown)))
        .filter(|(key, unknown)| {
            let named = ((*key).clone(), unknown.code.clone());
            !term.sources.unknowns.contains_key(&named)
        })
        .collect();
    let life = |(experiment, unknown): &(&ExperimentKey, &Unknown)| {
        let bottle = Bottle::unknown(experiment, &unknown.code);
        (unknown.version, term.shelf.get(&bottle))
    };
    let end = AtTheEnd {
        rows: stated.iter().map(life).collect(),
    };
    let rows: Vec<_> = stated
        .iter()
        .enumerate()
        .map(|(index, (experiment, unknown))| {
            let truth = unknown.truth.open();
            let mut cells = vec![experiment.to_string(), guarded(&unknown.code)];
            cells.extend([truth.value, truth.standard_uncertainty].map(|n| n.to_string()));
            cells.extend(end.cells(index));
            cells
        })
        .collect();
    let mut header = vec!["experiment", "unknown", TRUTH[0], TRUTH[1]];
    header.extend(end.header());
    (!rows.is_empty()).then(|| write_csv(&header, rows))
}
