//! Course folders: what reads, what is refused and how, and that nothing is lost on the way out and in.

use concordant::files::{
    Folder, FreeText, audit_csv, demo_folder, flags_csv, gradebook_csv, read_prep_records,
    read_term, results_csv, write_term,
};

use crate::course::{FILES, faults, folder, folder_with, lines, read, term, text};

#[test]
fn a_folder_written_and_read_again_is_the_same() {
    let first = write_term(&term());
    for (path, written) in FILES {
        let out = String::from_utf8(first.get(path).unwrap().to_vec()).unwrap();
        assert_eq!(out, written, "{path}");
    }
    let procedures: Vec<&str> = first
        .files()
        .map(|(path, _)| path)
        .filter(|p| p.starts_with("procedures/"))
        .collect();
    assert_eq!(
        procedures,
        [
            "procedures/antacid-back.toml",
            "procedures/naoh-against-khp.toml",
            "procedures/well-water-hardness.toml"
        ]
    );
    let again = write_term(&read(&first));
    assert_eq!(again, first);
}

#[test]
fn the_demonstration_course_reads_and_is_written_as_it_is() {
    let demo = demo_folder();
    let term = read(&demo);
    assert!(term.judge_all().len() > 200);
    let written = write_term(&term);
    for (path, bytes) in demo.files() {
        assert!(written.get(path) == Some(bytes), "{path}");
    }
}

#[test]
fn a_folder_goes_to_disk_and_back() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("term");
    let written = write_term(&term());
    written.write(&out).unwrap();
    std::fs::write(out.join("README.md"), "notes").unwrap();
    std::fs::write(out.join(".hidden.csv"), "x").unwrap();
    assert_eq!(Folder::read(&out).unwrap(), written);
    let refused = written.write(&out).unwrap_err().to_string();
    assert!(
        refused.contains("found this file there already"),
        "{refused}"
    );
    std::fs::remove_file(out.join("README.md")).unwrap();
    std::fs::remove_file(out.join(".hidden.csv")).unwrap();
    written.write(&out).unwrap();
}

#[test]
fn faults_of_several_files_come_at_once() {
    let readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL\n\
        0017,1,E-1,,0.00,10.02,49.9\n\
        0017,1,E-1,,0.00,1O.02,49.9\n\
        \n\
        0099,2,E-9,,0.00,60.02,49.9\n\
        0018,x,E-1,,12.00,10.02,\n\
        0019,1,E-1,,0.00,10.02,49.9,extra\n\
        0019,1,E-1,,0.00,10.02,49.9\n\
        0019,1,E-1,,0.00,10.02,49.9\n";
    let bad = folder_with(&[
        (
            "roster.csv",
            "student_id,family_name,given_name,section\n0017,A,B,A\n0017,A,B,A\n0018,,,\n0019,C,D,Mon PM\n",
        ),
        (
            "staff.csv",
            "login,name,role,sections\nta1,N,assistant,A Z\nta2,N,boss,\n",
        ),
        (
            "issued.csv",
            "experiment,student_id,unknown\nhardness,0017,U7\nwater,0018,U1\n",
        ),
        (
            "by-hand.csv",
            "experiment,student_id,points\nantacid,0017,2.01\nhardness,0017,1\n",
        ),
        (
            "lots.csv",
            "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nE-1,EDTA,1e-2,0\nA-1,HCl,0.2,-1\n",
        ),
        ("readings/hardness.csv", readings),
        ("superseded/hardness.csv", ""),
        ("reported.csv", ""),
        ("readings/nothing.csv", "student_id\n"),
        ("rooster.csv", "a\n"),
    ]);
    let found = faults(&bad);
    let expected = [
        "by-hand.csv:2, column points: found “2.01”, expected 0 to the 2 points of the part by_hand",
        "by-hand.csv:3, column points: found “1”, expected none: the marking of hardness has no part by_hand",
        "issued.csv:2, column unknown: found “U7”, expected the code of an unknown of hardness in unknowns.csv or prep-room.toml",
        "issued.csv:3, column experiment: found “water”, expected the key of an experiment in course.toml",
        "lots.csv:2, column molarity_mol_per_L: found “1e-2”, expected a plain number such as 0.0100",
        "lots.csv:3, column standard_uncertainty_mol_per_L: found -1, expected 0 or more",
        "readings/hardness.csv:3, column burette_end_mL: found “1O.02”, expected digits with at most one decimal point or comma, such as 18.40",
        "readings/hardness.csv:5, column burette_end_mL: 60.02 mL is past the end of a 50 mL burette",
        "readings/hardness.csv:5, column student_id: found “0099”, expected the id of a student on the roster",
        "readings/hardness.csv:6, column burette_end_mL: found 10.02, expected at least the start 12.00: the end is above the start, were they exchanged? A burette counts downward, so its reading grows; if it was refilled, give each filling its own start and end",
        "readings/hardness.csv:6, column trial: found “x”, expected 1 to 50, rough or blank (or standard-1 and so on, for a calibration line)",
        "readings/hardness.csv:7: found 8 cells, expected 7",
        "readings/hardness.csv:9, column trial: found “1” again, expected it once: line 8 has it already",
        "readings/nothing.csv: found “nothing”, expected the key of an experiment in course.toml",
        "rooster.csv: found “rooster.csv”, expected only course.toml, roster.csv, staff.csv, lots.csv, unknowns.csv, prep-room.toml, glassware.toml, issued.csv, groups.csv, reported.csv, by-hand.csv, decisions.csv, releases.csv, extensions.csv, amendments.csv, notes.csv, readings/KEY.csv, superseded/KEY.csv and procedures/KEY.toml",
        "roster.csv:3, column student_id: found “0017” again, expected it once: line 2 has it already",
        "roster.csv:4, column section: found nothing, expected 1 to 40 characters on one line",
        "staff.csv:2, column sections: found “Z”, expected a section of the roster",
        "staff.csv:3, column role: found “boss”, expected coordinator, assistant or prep",
    ];
    assert_eq!(found, expected);
}

#[test]
fn columns_of_readings_are_those_of_the_procedure() {
    let with = |header: &str| faults(&folder_with(&[("readings/antacid.csv", header)]));
    assert_eq!(
        with(
            "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL,burette_start_2_mL\n"
        )[..4],
        [
            "readings/antacid.csv:1, column excess_lot: found no column excess_lot, expected one",
            "readings/antacid.csv:1, column sample_after_g: found no column sample_after_g, expected one",
            "readings/antacid.csv:1, column sample_before_g: found no column sample_before_g, expected one",
            "readings/antacid.csv:1, column sample_mL: found “sample_mL”, expected one of the columns student_id, trial, lot, unknown, excess_lot, burette_start_mL, burette_end_mL, sample_before_g, sample_after_g, burette_start_2_mL, burette_end_2_mL, burette_start_3_mL, burette_end_3_mL, burette_start_4_mL, burette_end_4_mL, burette_start_5_mL, burette_end_5_mL, burette_start_6_mL, burette_end_6_mL, burette_start_7_mL, burette_end_7_mL, burette_start_8_mL, burette_end_8_mL, burette_start_9_mL, burette_end_9_mL, before_last_drop_mL, submitted_at, revision, reason, confirmed, instrument, spoiled",
        ]
    );
    assert_eq!(
        with(
            "student_id,trial,lot,unknown,excess_lot,burette_start_mL,burette_end_mL,sample_before_g,sample_after_g,burette_end_2_mL\n"
        ),
        [
            "readings/antacid.csv:1, column burette_start_2_mL: found no column burette_start_2_mL, expected one beside its other half"
        ]
    );
}

#[test]
fn a_mark_and_either_line_end_read_alike() {
    let mut other = Folder::default();
    for (path, text) in FILES
        .iter()
        .filter(|(path, _)| !path.contains("hardness.csv"))
    {
        let text = format!("\u{feff}{}", text.replace('\n', "\r\n"));
        other.insert(path, text.into_bytes()).unwrap();
    }
    let mut plain = Folder::default();
    for (path, text) in FILES
        .iter()
        .filter(|(path, _)| !path.contains("hardness.csv"))
    {
        plain.insert(path, text.as_bytes().to_vec()).unwrap();
    }
    // an answer of a revision that is not there any more
    let reported = "experiment,student_id,value\nhardness,0017,200.5\n";
    let clean = |folder: &Folder| {
        let mut clean = Folder::default();
        for (path, bytes) in folder.files().filter(|(path, _)| *path != "reported.csv") {
            clean.insert(path, bytes.to_vec()).unwrap();
        }
        clean
            .insert("reported.csv", reported.as_bytes().to_vec())
            .unwrap();
        write_term(&read(&clean))
    };
    assert_eq!(clean(&other), clean(&plain));
}

#[test]
fn other_encodings_are_named() {
    let mut bad = folder_with(&[("lots.csv", ""), ("groups.csv", "")]);
    let utf16: Vec<u8> = "lot".encode_utf16().flat_map(u16::to_le_bytes).collect();
    bad.insert("lots.csv", [vec![0xff, 0xfe], utf16].concat())
        .unwrap();
    bad.insert(
        "groups.csv",
        b"experiment,student_id,group\nantacid,0017,caf\xe9\n".to_vec(),
    )
    .unwrap();
    assert_eq!(
        faults(&bad),
        [
            "groups.csv:2: found the byte 0xE9 (byte 45 of the file), expected UTF-8 text",
            "lots.csv:1: found text in UTF-16 (little-endian), expected UTF-8: save it again as “CSV UTF-8”",
        ]
    );
}

#[test]
fn cells_that_a_spreadsheet_would_run_do_not_run() {
    let term = term();
    assert_eq!(term.students[1].family_name, "=Bento");
    assert_eq!(term.students[0].id, "0017");
    let book = gradebook_csv(&term, &term.judge_all(), FreeText::Safe);
    assert!(book.contains("\n0018,'=Bento,Rui,A,"), "{book}");
}

#[test]
fn folders_are_limited() {
    let mut folder = Folder::default();
    folder.insert("a.csv", vec![b'a'; 10 << 20]).unwrap();
    let big = folder
        .insert("b.csv", vec![b'a'; (10 << 20) + 1])
        .unwrap_err();
    assert_eq!(
        big.to_string(),
        "b.csv: found 10485761 bytes, expected at most 10 MiB"
    );
    for n in 0..5 {
        folder
            .insert(&format!("{n}.csv"), vec![b'a'; 10 << 20])
            .unwrap();
    }
    let total = folder.insert("c.csv", vec![b'a'; 5 << 20]).unwrap_err();
    assert_eq!(
        total.to_string(),
        "folder: found more than 64 MiB, expected at most that in all"
    );
    for path in ["../x.csv", "/x.csv", "a//b.csv", "", "c:\\x.csv"] {
        assert!(folder.insert(path, Vec::new()).is_err(), "{path}");
    }
    let mut many = Folder::default();
    for n in 0..2000 {
        many.insert(&format!("{n}.csv"), Vec::new()).unwrap();
    }
    assert!(many.insert("x.csv", Vec::new()).is_err());
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("roster.csv"), vec![b'a'; (10 << 20) + 1]).unwrap();
    assert_eq!(
        lines(&Folder::read(dir.path()).unwrap_err()),
        ["roster.csv: found 10485761 bytes, expected at most 10 MiB"]
    );
}

#[test]
fn dates_and_keys_of_the_course_are_checked() {
    let course = text("course.toml")
        .replace("2026-09-14T09:00:00", "1999-09-14T09:00:00")
        .replace("due = 2026-09-14T17:00:00", "due = 2026-09-14T17:00:00Z")
        .replace(
            "due = 2026-09-21T17:00:00",
            "due = \"2026-09-20T17:00\"\nroom = 4",
        )
        .replace("key = \"antacid\"", "key = \"total\"")
        .replace("Europe/Lisbon", "Europe/Lisboa");
    let bad = folder_with(&[("course.toml", &course)]);
    let of_course: Vec<String> = faults(&bad)
        .into_iter()
        .filter(|f| f.starts_with("course"))
        .collect();
    assert_eq!(
        of_course,
        [
            "course.toml:3, key time_zone: found “Europe/Lisboa”, expected an IANA time zone such as Europe/Lisbon",
            "course.toml:8, key experiment.opens: found “1999-09-14T09:00:00”, expected a date in the years 2000 to 2100",
            "course.toml:9, key experiment.due: found “2026-09-14T17:00:00Z”, expected a local date and time without offset, such as 2026-03-02T14:00:00",
            "course.toml:19, key experiment.key: found “total”, expected another key: the gradebook has a column of that name",
            "course.toml:22, key experiment.due: found 2026-09-20T17:00:00, expected a time after it opens, 2026-09-21T09:00:00",
            "course.toml:23, key experiment.room: found “room”, expected one of the keys key, procedure, opens, due, marking, trials, section_lots, section_dates, show_truth",
        ]
    );
    let bad = folder_with(&[(
        "course.toml",
        &text("course.toml")
            .replace("section_lots.A", "section_lots.Q")
            .replace("titrant = \"E-1\"", "titrant = \"E-7\"")
            .replace("antacid-back", "antacid"),
    )]);
    let found = faults(&bad);
    assert!(
        found[0].starts_with(
            "course.toml:15, key experiment.section_lots: found “E-7”, expected the code of a lot"
        ),
        "{found:?}"
    );
    assert!(
        found[1].starts_with(
            "course.toml:15, key experiment.section_lots: found “Q”, expected a section"
        ),
        "{found:?}"
    );
    assert!(found[2].starts_with("course.toml:20, key experiment.procedure: found “antacid”, expected a procedure in procedures/ or one of the shipped acid-conductance, acid-gran, acid-molar-mass, antacid-back, "), "{found:?}");
    assert_eq!(found.len(), 3);
}

#[test]
fn an_own_procedure_wins_and_is_checked() {
    let own = concordant::files::shipped_procedure("well-water-hardness").unwrap();
    let renamed = own.replace("Total hardness of well water with EDTA", "Hardness");
    let term = read(&folder_with(&[(
        "procedures/well-water-hardness.toml",
        &renamed,
    )]));
    assert_eq!(term.experiments[0].procedure.title, "Hardness");
    let broken = own.replace("+ 2 H^+", "+ 3 H^+");
    assert_eq!(
        faults(&folder_with(&[
            ("procedures/well-water-hardness.toml", &broken),
            ("procedures/x.toml", &own)
        ])),
        [
            "procedures/well-water-hardness.toml:4, key reactions: reaction “Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + 3 H^+” does not balance: H 14 left, 15 right; charge 0 left, 1 right; balanced it reads “Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + 2 H^+”",
            "procedures/x.toml, key key: found “well-water-hardness”, expected x, the name of the file",
        ]
    );
}

#[test]
fn preparation_records_give_values() {
    let term = term();
    let truth = term.unknowns["hardness"]["U2"].truth.open();
    // 0.2500 g CaCO3 in 1000 mL is 250.0 mg/L
    assert_eq!(truth.value, "250".parse().unwrap());
    assert_eq!(term.unknowns["hardness"]["U2"].version, 2);
    let lot = &term.lots["N-1"];
    let molarity: f64 = lot.molarity.value.to_string().parse().unwrap();
    // n(KHP) = 0.5000 g / 204.22 g/mol over 12.24 mL, and 0.5006 g over 12.26 mL
    assert!((molarity - 0.2000).abs() < 0.0002, "{molarity}");
    let bad = text("prep-room.toml")
        .replace("N-1", "E-1")
        .replace(
            "\"11.8456\", burette_start_mL = \"0.10\"",
            "\"13.8456\", burette_start_mL = \"0.10\"",
        )
        .replace("\nflask = \"flask-1000-a\"", "\nflask = \"pipette-25-a\"");
    let found = faults(&folder_with(&[
        ("prep-room.toml", &bad),
        ("readings/antacid.csv", ""),
    ]));
    assert_eq!(
        found,
        [
            "prep-room.toml:2, key lot.lot: found “E-1”, expected a code that neither this file nor the CSV file has already",
            "prep-room.toml:7, key lot.standardised.titrations.sample_after_g: found 13.8456 g, expected less than the 12.3456 g before",
            "prep-room.toml:19, key unknown.prepared.flask: found “pipette-25-a”, expected a flask",
        ]
    );
    let corrected = text("prep-room.toml").replace("0.2500", "0.2510");
    let room = read_prep_records("form.toml", &corrected, &term).unwrap();
    assert_eq!(
        room.unknowns[0].1.truth.open().value,
        "251".parse().unwrap()
    );
}

#[test]
fn results_follow_the_contract() {
    let term = term();
    let judged = term.judge_all();
    let book = gradebook_csv(&term, &judged, FreeText::Safe);
    let first = book.lines().next().unwrap();
    assert_eq!(
        first,
        "student_id,family_name,given_name,section,hardness,antacid,total"
    );
    assert_eq!(book.lines().count(), 4);
    assert!(
        book.lines()
            .nth(3)
            .unwrap()
            .starts_with("0019,Costa,\"Ana, Maria\",Mon PM,,,"),
        "{book}"
    );
    let results = results_csv(&term, &judged);
    assert_eq!(
        results.lines().next().unwrap(),
        "experiment,student_id,section,unknown,lot,trials_counted,mean_delivered_mL,result,unit,std_dev,range_percent,standard_uncertainty,expanded_uncertainty,true_value,relative_error_percent,accuracy,agreement,recording,calculation,by_hand,late,total,possible,likely_slip,flags,status,adjustment"
    );
    let row: Vec<&str> = results.lines().nth(1).unwrap().split(',').collect();
    assert_eq!(&row[..6], ["hardness", "0017", "A", "U1", "E-1", "1"]);
    assert_eq!(row[6], "10.02");
    // 10.02 mL × 0.01002 mol/L × 100.086 g/mol / 49.9 mL, in mg/L; M(CaCO3) from CIAAW 2021 abridged weights
    assert!(row[7].starts_with("201.376241170340"), "{}", row[7]);
    assert_eq!((row[13], row[26]), ("200", "-0.50"));
    let flags = flags_csv(&term, &judged);
    assert!(flags.contains("hardness,0018,unknown-mismatch,"), "{flags}");
    assert!(
        flags.starts_with("experiment,student_id,flag,evidence,expected_by_chance,candidates\n")
    );
    let rows = csv::Reader::from_reader(flags.as_bytes()).into_records();
    for row in rows {
        let row = row.expect("a row");
        assert!(row[4].parse::<f64>().is_ok(), "{row:?}");
    }
    let audit = audit_csv(&term, &judged);
    assert!(audit.contains("hardness,unknown,U1,1,200,"), "{audit}");
    assert!(audit.contains(",too few to judge\n"), "{audit}");
}

#[test]
fn a_term_of_thousands_reads_quickly() {
    let students = 2400;
    let mut roster = String::from("student_id,family_name,given_name,section\n");
    let mut rows =
        String::from("student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL\n");
    for n in 0..students {
        roster.push_str(&format!("{n:05},F{n},G{n},S{}\n", n % 100));
        for trial in 1..=4 {
            rows.push_str(&format!("{n:05},{trial},E-1,,0.00,10.{trial:02},50.0\n"));
        }
    }
    let course = text("course.toml").replace("section_lots.A", "section_lots.S1");
    let big = folder_with(&[
        ("course.toml", &course),
        ("roster.csv", &roster),
        ("readings/hardness.csv", &rows),
        ("staff.csv", ""),
        ("issued.csv", ""),
        ("groups.csv", ""),
        ("superseded/hardness.csv", ""),
        ("readings/antacid.csv", ""),
        ("reported.csv", ""),
        ("by-hand.csv", ""),
        ("decisions.csv", ""),
        ("notes.csv", ""),
    ]);
    let start = std::time::Instant::now();
    let term = read_term(&big).unwrap();
    assert_eq!(term.submissions.len(), students);
    // generous for a build without optimisation: a quadratic look-up takes far longer
    assert!(start.elapsed().as_secs() < 20, "{:?}", start.elapsed());
    assert_eq!(folder().files().count(), 16);
}

mod any_bytes {
    use proptest::prelude::*;

    use super::{folder_with, read_term, write_term};
    use crate::course::{FILES, read};

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        /// Whatever stands in a file: it reads, and then settles, or it is refused with faults; it never panics.
        #[test]
        fn are_read_or_refused(file in 0..FILES.len(), at in 0..2000_usize, cut in 0..40_usize, junk in "\\PC{0,12}|[\"',;=\\[\\]{}\\r\\n\\t0-9.-]{0,12}") {
            let (path, text) = FILES[file];
            let chars: Vec<char> = text.chars().collect();
            let at = at % (chars.len() + 1);
            let end = (at + cut).min(chars.len());
            let changed: String = chars[..at].iter().copied().chain(junk.chars()).chain(chars[end..].iter().copied()).collect();
            match read_term(&folder_with(&[(path, &changed)])) {
                Ok(term) => {
                    let first = write_term(&term);
                    prop_assert_eq!(write_term(&read(&first)), first);
                }
                Err(faults) => prop_assert!(!faults.is_empty()),
            }
        }
    }
}
