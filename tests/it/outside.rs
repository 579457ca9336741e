//! A course folder made from the written contract alone, with its results worked out by another program: graded here,
//! it has to come out the same, every result to 1e-9, every point to the hundredth, and every slip behind an answer.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::reference::dec;

fn place(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/outside")
        .join(name)
}

type Rows = BTreeMap<(String, String), BTreeMap<String, String>>;

/// Rows by their first two columns.
fn rows(file: &Path) -> Rows {
    let mut reader = csv::Reader::from_path(file).expect("a file");
    let header = reader.headers().expect("a header").clone();
    let record = |record: csv::StringRecord| {
        let cells = header
            .iter()
            .map(str::to_owned)
            .zip(record.iter().map(str::to_owned))
            .collect();
        ((record[0].to_owned(), record[1].to_owned()), cells)
    };
    reader
        .records()
        .map(|r| record(r.expect("a row")))
        .collect()
}

#[test]
fn another_programs_results_come_out() {
    let out = tempfile::tempdir().expect("a directory");
    let graded = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .arg("grade")
        .arg(place("course"))
        .arg("--out")
        .arg(out.path())
        .output()
        .expect("runs");
    assert!(
        graded.status.success(),
        "{}",
        String::from_utf8_lossy(&graded.stderr)
    );
    let expected = rows(&place("expected/results.csv"));
    let found = rows(&out.path().join("results.csv"));
    assert_eq!(
        found.keys().collect::<Vec<_>>(),
        expected.keys().collect::<Vec<_>>()
    );
    assert_eq!(expected.len(), 109);
    let (mut numbers, mut points, mut slips) = (0, 0, 0);
    for (key, expected) in &expected {
        let found = &found[key];
        for column in ["section", "unknown", "lot", "trials_counted", "unit"] {
            assert_eq!(found[column], expected[column], "{key:?} {column}");
        }
        for column in [
            "mean_delivered_mL",
            "result",
            "std_dev",
            "range_percent",
            "true_value",
            "relative_error_percent",
        ] {
            let found_row = found;
            let (found, expected) = (&found[column], &expected[column]);
            if found.is_empty() || expected.is_empty() {
                assert_eq!(found, expected, "{key:?} {column}");
                continue;
            }
            let (mut found, expected) = (dec(found), dec(expected));
            // that program states how far off a result is, and not which way
            if column == "relative_error_percent" {
                let off = dec(&found_row["result"]) - dec(&found_row["true_value"]);
                assert!(found.is_zero() || found.is_sign_positive() == off.is_sign_positive());
                found = found.abs();
            }
            // a spread of nothing may come out as the last figure of a quotient
            let allowed = (expected.abs() * dec("0.000000001")).max(dec("0.00000000000001"));
            assert!(
                (found - expected).abs() <= allowed,
                "{key:?} {column}: {found} against {expected}"
            );
            numbers += 1;
        }
        // that program explains answers only; where a reading is explained as well, its slip comes first
        let slip = &expected["likely_slip"];
        slips += usize::from(!slip.is_empty());
        let named = &found["likely_slip"];
        assert!(
            named.ends_with(slip.as_str()),
            "{key:?} {named} against {slip}"
        );
        for column in [
            "accuracy",
            "agreement",
            "recording",
            "by_hand",
            "possible",
            "calculation",
            "late",
            "total",
        ] {
            assert_eq!(found[column], expected[column], "{key:?} {column}");
            points += 1;
        }
    }
    assert!(
        numbers > 600 && points > 800,
        "{numbers} numbers, {points} points"
    );
    assert_eq!(slips, 17, "answers explained by a slip");
}
