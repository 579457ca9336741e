//! The audit file: a bottle that is off is named, the others are not, and the figures are those of a hand calculation.

use concordant::columns::Column;
use concordant::files::{audit_csv, flags_csv};
use concordant::measure::Reading;

use crate::course::{folder_with, read};

/// Sixteen students of two sections, eight with each bottle, whose readings scatter about `u1` and `u2` mL.
fn term(u1: f64, u2: f64) -> concordant::term::Term {
    let mut roster = String::from("student_id,family_name,given_name,section\n");
    let mut issued = String::from("experiment,student_id,unknown\n");
    let mut rows =
        String::from("student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL\n");
    for n in 0..16_u32 {
        let (section, bottle, mean) = match n % 4 {
            0 => ("A", "U1", u1),
            1 => ("B", "U1", u1),
            2 => ("A", "U2", u2),
            _ => ("B", "U2", u2),
        };
        roster.push_str(&format!("s{n},F,G,{section}\n"));
        issued.push_str(&format!("hardness,s{n},{bottle}\n"));
        // 0.00, 0.02, −0.02, 0.04 mL about the mean
        let off = [0.0, 0.02, -0.02, 0.04][(n / 4) as usize];
        for trial in 1..=3 {
            rows.push_str(&format!("s{n},{trial},E-1,,0.00,{:.2},50.0\n", mean + off));
        }
    }
    let course = "title = \"T\"\nterm = \"t\"\ntime_zone = \"UTC\"\n\n[[experiment]]\nkey = \"hardness\"\nprocedure = \"well-water-hardness\"\nopens = 2026-09-14T09:00:00\ndue = 2026-09-14T17:00:00\n";
    let mut changes = vec![
        ("course.toml", course),
        ("roster.csv", &roster),
        ("issued.csv", &issued),
        ("readings/hardness.csv", &rows),
        (
            "unknowns.csv",
            "experiment,unknown,true_value,standard_uncertainty\nhardness,U1,200,0.2\nhardness,U2,240,0.2\n",
        ),
    ];
    let gone = [
        "staff.csv",
        "prep-room.toml",
        "groups.csv",
        "superseded/hardness.csv",
        "readings/antacid.csv",
    ];
    changes.extend(gone.map(|path| (path, "")));
    changes.extend(
        [
            "reported.csv",
            "by-hand.csv",
            "decisions.csv",
            "releases.csv",
            "notes.csv",
        ]
        .map(|path| (path, "")),
    );
    read(&folder_with(&changes))
}

#[test]
fn a_bottle_that_is_off_is_named() {
    // 200 mg/L of CaCO3 in 50.0 mL needs 0.200·50.0/(100.086·0.01002) = 9.97 mL; 240 mg/L needs 11.97 mL
    let term = term(9.97, 12.27);
    let judged = term.judge_all();
    let groups = &term.audit(judged.iter().map(|(slot, one)| (slot, one)))[0].groups;
    let said: Vec<String> = groups
        .iter()
        .map(|g| format!("{} {} {}", g.name, g.n(), g.verdict.words()))
        .collect();
    assert_eq!(
        said,
        [
            "unknown U1 8 agrees",
            "unknown U2 8 looks off",
            "titrant lot E-1 16 agrees",
            "section A 8 agrees",
            "section B 8 agrees"
        ]
    );
    // U2: 20.0572344 mg/L for each mL (1000·0.01002·100.086/50.0); delivered 12.27, 12.29, 12.25 and 12.31 mL, each
    // twice, 12.28 mL in the mean. Algorithm A pulls none of the eight in, so its mean is theirs: 246.302838 mg/L
    let u2 = &groups[1];
    assert!(
        (u2.bias_percent - 2.626_182_7).abs() < 1e-6,
        "{}",
        u2.bias_percent
    );
    // s* of two each of 12.27, 12.29, 12.25 and 12.31 mL: 1.134 s, none of them pulled in; s = 0.0239046 mL, so that
    // 1.25·1.134·0.0239046·20.0572344/240 % / √8 = 0.1001 %, joined with 0.2/240 = 0.0833 %
    assert!(
        (u2.bias_uncertainty_percent - 0.130_25).abs() < 1e-4,
        "{}",
        u2.bias_uncertainty_percent
    );
    let file = audit_csv(&term, &judged);
    assert_eq!(
        file.lines().next().unwrap(),
        "experiment,kind,key,n,assigned,robust_mean,bias_percent,bias_uncertainty_percent,p_value,verdict"
    );
    assert!(file.contains("\nhardness,unknown,U2,8,240,246."), "{file}");
    assert!(file.contains("\nhardness,lot,E-1,16,0.01002,"), "{file}");
    assert!(file.contains("\nhardness,section,A,8,,"), "{file}");
    assert!(
        file.lines()
            .skip(1)
            .all(|line| line.split(',').nth(8) != Some("")),
        "{file}"
    );
}

/// All of a bottle's students are off, and so is the bottle: nobody is accused. One of sixteen is off where bottles are
/// sound: a level of 0.01 and eight submissions in each section.
#[test]
fn chance_counts_the_submissions_of_the_section() {
    let flags = |term: &concordant::term::Term| flags_csv(term, &term.judge_all());
    let off = |flags: &str| -> Vec<String> {
        let lines = flags.lines().map(str::to_owned);
        lines
            .filter(|line| line.contains(",inconsistent-truth,"))
            .collect()
    };
    let bad_bottle = flags(&term(9.97, 12.97));
    assert_eq!(off(&bad_bottle), [""; 0], "{bad_bottle}");
    let mut term = term(9.97, 11.97);
    let slot = crate::slot("hardness", "s0");
    let hand_in = term.submissions.get_mut(&slot).expect("handed in");
    for row in &mut std::sync::Arc::make_mut(&mut hand_in[0].hand_in).titrations {
        let end = Reading::parse("10.55").expect("a reading");
        row.readings.insert(Column::BuretteEnd(1), end);
    }
    let alone = flags(&term);
    let off = off(&alone);
    assert_eq!(off.len(), 1, "{alone}");
    assert!(off[0].contains(",0.08,"), "{alone}");
}
