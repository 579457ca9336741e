//! What crossed groups come to, on numbers that can be followed by hand.

use std::collections::BTreeMap;

use concordant::judge::{AuditGroup, AuditKind, GroupName, Observed, Verdict, audit};

/// Scatter of eight careful students, percent: its mean is 0, its s is 0.13.
const SCATTER: [f64; 8] = [-0.19, -0.12, -0.07, -0.02, 0.02, 0.07, 0.12, 0.19];

/// Results of the same groups: groups, shift in percent, how many.
type Cell<'a> = (&'a [(AuditKind, &'a str)], f64, usize);

fn cells(cells: &[Cell]) -> Vec<Observed> {
    let mut observed = Vec::new();
    for (groups, shift, count) in cells {
        for at in 0..*count {
            observed.push(Observed {
                error_percent: shift + SCATTER[at % SCATTER.len()],
                standard_percent: 0.13,
                at_days: None,
                groups: groups
                    .iter()
                    .map(|(kind, key)| GroupName::new(*kind, *key))
                    .collect(),
            });
        }
    }
    observed
}

fn stated(values: &[(AuditKind, &str, f64)]) -> BTreeMap<GroupName, f64> {
    let one =
        |(kind, key, percent): &(AuditKind, &str, f64)| (GroupName::new(*kind, *key), *percent);
    values.iter().map(one).collect()
}

fn said(groups: &[AuditGroup]) -> Vec<String> {
    let line = |group: &AuditGroup| format!("{}: {}", group.name, group.verdict.words());
    groups.iter().map(line).collect()
}

use AuditKind::{Assistant, Instrument, Lot, Section, Unknown};

#[test]
fn a_bad_lot_across_sections_and_bottles_is_the_lot() {
    let mut all = Vec::new();
    for (section, lot, shift) in [
        ("A", "L1", 0.0),
        ("A", "L2", 1.0),
        ("B", "L1", 0.0),
        ("B", "L2", 1.0),
    ] {
        for bottle in ["U1", "U2"] {
            let groups = [(Section, section), (Lot, lot), (Unknown, bottle)];
            all.extend(cells(&[(&groups, shift, 16)]));
        }
    }
    let groups = audit(
        &all,
        &stated(&[
            (Lot, "L1", 0.08),
            (Lot, "L2", 0.08),
            (Unknown, "U1", 0.05),
            (Unknown, "U2", 0.05),
        ]),
    );
    // half of the results of bottles and sections are off by 1 %, so that their means are off by 0.5 %
    assert!((groups[0].bias_percent - 0.5).abs() < 1e-9);
    assert_eq!(
        said(&groups),
        [
            "unknown U1: agrees, once titrant lot L2 is allowed for",
            "unknown U2: agrees, once titrant lot L2 is allowed for",
            "titrant lot L1: agrees",
            "titrant lot L2: looks off",
            "section A: agrees, once titrant lot L2 is allowed for",
            "section B: agrees, once titrant lot L2 is allowed for",
        ]
    );
    let lot = &groups[3];
    // 64 results: s = √(8·0.1116/63) = 0.1190 %, s* = 1.134·s, 1.25·s*/√64 = 0.0211 %, joined with 0.08 and the bottles' 0.05/√2
    assert!((lot.own.percent - 1.0).abs() < 1e-6, "{:?}", lot.own);
    assert!(
        (lot.own.standard_percent - 0.0211).abs() < 1e-4,
        "{:?}",
        lot.own
    );
    let joined = lot
        .own
        .standard_percent
        .hypot(0.08)
        .hypot(0.05 / 2f64.sqrt());
    assert!(
        (lot.own.joined_percent - joined).abs() < 1e-9,
        "{:?}",
        lot.own
    );
    // the file has the group's own value alone
    let contract = lot.own.standard_percent.hypot(0.08);
    assert!((lot.bias_uncertainty_percent - contract).abs() < 1e-9);
}

#[test]
fn a_bad_bottle_with_two_lots_is_the_bottle() {
    let mut all = Vec::new();
    for (section, lot) in [("A", "L1"), ("B", "L2")] {
        for (bottle, shift) in [("U1", 0.0), ("U2", 2.0), ("U3", 0.0), ("U4", 0.0)] {
            all.extend(cells(&[(
                &[(Section, section), (Lot, lot), (Unknown, bottle)],
                shift,
                6,
            )]));
        }
    }
    let groups = audit(&all, &BTreeMap::new());
    let off: Vec<String> = said(&groups)
        .into_iter()
        .filter(|line| line.contains("off"))
        .collect();
    assert_eq!(off, ["unknown U2: looks off"]);
}

#[test]
fn the_same_students_cannot_be_told_apart() {
    let all = cells(&[
        (&[(Section, "A"), (Lot, "L1"), (Assistant, "x")], 0.0, 24),
        (&[(Section, "B"), (Lot, "L2"), (Assistant, "x")], 1.0, 24),
    ]);
    let groups = audit(&all, &stated(&[(Lot, "L1", 0.08), (Lot, "L2", 0.08)]));
    assert_eq!(
        said(&groups),
        [
            "titrant lot L1: agrees",
            "titrant lot L2: looks off, unless it is section B: the same students",
            "section A: agrees",
            "section B: looks off, unless it is titrant lot L2: the same students",
            "assistant x: agrees, once titrant lot L2 is allowed for",
        ]
    );
    assert!(groups[1].verdict.is_named() && !groups[3].verdict.is_named());
    let Verdict::Off { ruled_out, .. } = &groups[1].verdict else {
        panic!("{:?}", groups[1].verdict)
    };
    // the assistant's other section is sound
    assert_eq!(ruled_out.len(), 1);
    assert_eq!(ruled_out[0].group, GroupName::new(Assistant, "x"));
    assert_eq!(
        (ruled_out[0].off_outside, ruled_out[0].sound_inside),
        (None, Some(24))
    );
}

#[test]
fn a_group_that_differs_by_two_students_is_too_few_to_tell() {
    let all = cells(&[
        (&[(Section, "A"), (Lot, "L1")], 0.0, 24),
        (&[(Section, "B"), (Lot, "L2")], 1.0, 22),
        (&[(Section, "B"), (Lot, "L1")], 0.0, 2),
    ]);
    let groups = audit(&all, &BTreeMap::new());
    assert_eq!(
        said(&groups)[1],
        "titrant lot L2: looks off, unless it is section B: too few students differ to tell"
    );
}

#[test]
fn a_section_that_reads_late_is_the_section() {
    let mut all = Vec::new();
    for (section, shift) in [("A", 0.0), ("B", 0.8), ("C", 0.0)] {
        for lot in ["L1", "L2"] {
            all.extend(cells(&[(&[(Section, section), (Lot, lot)], shift, 12)]));
        }
    }
    let groups = audit(&all, &stated(&[(Lot, "L1", 0.08), (Lot, "L2", 0.08)]));
    let off: Vec<String> = said(&groups)
        .into_iter()
        .filter(|line| line.contains("off"))
        .collect();
    assert_eq!(off, ["section B: looks off"]);
}

#[test]
fn a_burette_out_of_its_class_is_the_burette() {
    let mut all = Vec::new();
    for section in ["A", "B", "C"] {
        for burette in ["B1", "B2", "B3", "B4"] {
            let shift = if burette == "B3" { -1.2 } else { 0.0 };
            all.extend(cells(&[(
                &[(Section, section), (Instrument, burette)],
                shift,
                8,
            )]));
        }
    }
    let groups = audit(&all, &stated(&[(Instrument, "B3", 0.08)]));
    let off: Vec<String> = said(&groups)
        .into_iter()
        .filter(|line| line.contains("off"))
        .collect();
    assert_eq!(off, ["instrument B3: looks off"]);
}

/// A lot that is off by two of its standard uncertainties moves every bottle; none of them is bad.
#[test]
fn what_a_lot_may_be_off_by_makes_no_bottle_bad() {
    let bottles = ["U1", "U2", "U3", "U4"];
    let mut all = Vec::new();
    for bottle in bottles {
        all.extend(cells(&[(&[(Lot, "L1"), (Unknown, bottle)], 0.2, 24)]));
    }
    let values = |lot: f64| {
        stated(&[
            (Lot, "L1", lot),
            (Unknown, "U1", 0.02),
            (Unknown, "U2", 0.02),
            (Unknown, "U3", 0.02),
            (Unknown, "U4", 0.02),
        ])
    };
    assert!(
        audit(&all, &values(0.10))
            .iter()
            .all(|group| !group.verdict.is_off())
    );
    // were the lot known without doubt, it would be the lot that is off, and still no bottle
    let groups = audit(&all, &values(0.0));
    let off: Vec<&GroupName> = groups
        .iter()
        .filter(|g| g.verdict.is_off())
        .map(|g| &g.name)
        .collect();
    assert_eq!(off, [&GroupName::new(Lot, "L1")]);
}

#[test]
fn few_results_are_not_judged_and_results_all_alike_are() {
    let few = cells(&[(&[(Unknown, "U1")], 3.0, 3)]);
    assert_eq!(audit(&few, &BTreeMap::new())[0].verdict, Verdict::TooFew);
    assert!(audit(&[], &BTreeMap::new()).is_empty());
    let one = Observed {
        error_percent: 3.0,
        standard_percent: 0.2,
        at_days: None,
        groups: vec![GroupName::new(Unknown, "U1")],
    };
    // six that are all alike scatter by what each is known to: 1.25·0.2/√6
    let alike = &audit(&vec![one.clone(); 6], &BTreeMap::new())[0];
    assert!(alike.verdict.is_off());
    assert!((alike.own.standard_percent - 0.102_06).abs() < 1e-4);
    // four alike of six have no s*; their plain scatter is taken then
    let mut most = vec![one.clone(); 4];
    most.extend([2.9, 3.1].map(|error_percent| Observed {
        error_percent,
        ..one.clone()
    }));
    let most = &audit(&most, &BTreeMap::new())[0];
    // s of four 3.0, 2.9 and 3.1 is √(0.02/5)
    assert!((most.scatter_percent - 0.063_246).abs() < 1e-5);
    assert!(most.verdict.is_off());
}
