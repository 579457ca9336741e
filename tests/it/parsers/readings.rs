//! Files of readings: what simulated students of every procedure write goes out and comes back, and a file with slips
//! reads or names its faults.

use std::sync::LazyLock;

use concordant::files::{Folder, read_term, shipped_procedures, write_term};
use concordant::submission::Delivery;
use concordant::submission::HandIn;
use concordant::term::Revision;
use proptest::prelude::*;
use proptest::sample::Index;

use super::changed;
use crate::course::{lines, read};
use crate::properties::{Station, inputs, refilled, stations};
use crate::reference::dec;

const STUDENT: &str = "0017";

/// The stations of shipped procedures, which a course can name.
fn shipped() -> impl Iterator<Item = &'static Station> {
    let keys: Vec<String> = shipped_procedures()
        .into_iter()
        .map(|(key, _)| key)
        .collect();
    stations()
        .iter()
        .filter(move |station| keys.contains(&station.name))
}

/// A course with one experiment, whose key is that of its procedure.
fn course(station: &Station) -> Folder {
    let key = &station.name;
    let mut lots = "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\n".to_owned();
    let procedure = &station.procedure;
    let titrant = procedure.lot_reagent().map(|(species, _)| species);
    let excess = procedure.excess().map(|excess| &excess.species);
    for (lot, species) in [(&station.lot, titrant), (&station.excess_lot, excess)] {
        if let (Some(lot), Some(species)) = (lot, species) {
            let (code, molarity) = (&lot.code, lot.molarity);
            let (value, standard) = (molarity.value, molarity.standard_uncertainty);
            lots.push_str(&format!("{code},{species},{value},{standard}\n"));
        }
    }
    let experiment = format!(
        "title = \"Readings\"\nterm = \"autumn 2026\"\ntime_zone = \"Europe/Lisbon\"\n\n[[experiment]]\n\
         key = \"{key}\"\nprocedure = \"{key}\"\nopens = 2026-09-14T09:00:00\ndue = 2026-09-14T17:00:00\n"
    );
    let roster = format!("student_id,family_name,given_name,section\n{STUDENT},Almeida,Rita,A\n");
    let mut folder = Folder::default();
    for (path, text) in [
        ("course.toml", experiment),
        ("roster.csv", roster),
        ("lots.csv", lots),
    ] {
        folder.insert(path, text.into_bytes()).expect("a file");
    }
    folder
}

/// The course with a hand-in, as it is written to a folder.
fn with_hand_in(station: &Station, hand_in: &HandIn) -> Folder {
    let mut term = read(&course(station));
    let revision = Revision {
        hand_in: hand_in.clone().into(),
        submitted_at: None,
        reason: String::new(),
        receipt: None,
    };
    let slot = crate::slot(&station.name, STUDENT);
    term.submissions.insert(slot, vec![revision]);
    write_term(&term)
}

fn hand_in(station: &Station, seed: u64) -> HandIn {
    let mut hand_in = station.hand_in(seed, 3);
    for (number, row) in hand_in.titrations.iter_mut().enumerate() {
        if number % 2 == 0 {
            refilled(row, Delivery::First, dec("0.10"));
        } else {
            refilled(row, Delivery::Second, dec("0.20"));
            refilled(row, Delivery::Second, dec("0.30"));
        }
    }
    hand_in
}

#[test]
fn hand_ins_of_every_procedure_go_out_and_come_back() {
    let mut found = 0;
    for station in shipped() {
        for seed in 0..2 {
            let hand_in = hand_in(station, seed);
            let written = with_hand_in(station, &hand_in);
            let again = read(&written);
            let back = again
                .submissions
                .values()
                .flatten()
                .next()
                .expect("a hand-in");
            assert_eq!(*back.hand_in, hand_in, "{}", station.name);
            assert_eq!(write_term(&again), written, "{}", station.name);
            found += 1;
        }
    }
    assert!(found >= 16, "{found}");
}

/// Path and text of one file of readings of each procedure, with the other files.
static FILES: LazyLock<Vec<(Folder, String, String)>> = LazyLock::new(|| {
    let file = |station: &Station| {
        let written = with_hand_in(station, &hand_in(station, 3));
        let path = format!("readings/{}.csv", station.name);
        let bytes = written.get(&path).expect("readings").to_vec();
        (written, path, String::from_utf8(bytes).expect("a text"))
    };
    shipped().map(file).collect()
});

/// The folder with other readings: it reads, or each fault is one line that names a file.
fn a_folder(which: Index, change: impl FnOnce(&str) -> Vec<u8>) {
    let (folder, path, text) = &FILES[which.index(FILES.len())];
    let mut other = Folder::default();
    let readings = change(text);
    for (known, bytes) in folder.files() {
        let bytes = if known == path { &readings } else { bytes };
        other.insert(known, bytes.to_vec()).expect("a file");
    }
    match read_term(&other) {
        // what reads, is written and reads the same
        Ok(term) => {
            let written = write_term(&term);
            assert_eq!(write_term(&read(&written)), written);
        }
        Err(faults) => {
            assert!(!faults.is_empty());
            for line in lines(&faults) {
                assert!(line.contains(".csv") && !line.contains('\n'), "{line}");
            }
        }
    }
}

proptest! {
    #![proptest_config(inputs(250, 20_000))]

    #[test]
    fn readings_with_slips(which in any::<Index>(), at in any::<Index>(), cut in 0_usize..6, put in "[ -~\n\"]{0,3}") {
        a_folder(which, |text| changed(text, at, cut, &put).into_bytes());
    }

    /// Rows left out, twice, or with a cell that holds anything.
    #[test]
    fn readings_with_other_rows(
        which in any::<Index>(),
        places in prop::collection::vec((any::<Index>(), any::<Index>(), any::<String>()), 1..6),
    ) {
        a_folder(which, |text| {
            let mut rows: Vec<String> = text.lines().map(str::to_owned).collect();
            for (row, cell, put) in places {
                let row = row.index(rows.len());
                let mut cells: Vec<&str> = rows[row].split(',').collect();
                let cell = cell.index(cells.len() + 2);
                match cells.get_mut(cell) {
                    Some(cell) => {
                        *cell = &put;
                        rows[row] = cells.join(",");
                    }
                    None if cell % 2 == 0 => rows.push(rows[row].clone()),
                    None => drop(rows.remove(row)),
                }
                if rows.is_empty() {
                    break;
                }
            }
            rows.join("\n").into_bytes()
        });
    }

    #[test]
    fn any_bytes_as_readings(which in any::<Index>(), bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        a_folder(which, |_| bytes);
    }
}
