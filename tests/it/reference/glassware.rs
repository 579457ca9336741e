//! The shipped glassware against the standards it names.

use super::dec;
use concordant::files::shipped_glassware;

// id: glass-astm-e1272
// id: glass-astm-class-b-rule
/// ASTM E1272-02(2012) Table 1: graduated cylinders, tolerance of class A; class B is twice that.
#[test]
fn cylinders() {
    let table = shipped_glassware();
    for (size, least, a) in [
        ("10", vec!["0.1", "0.2"], "0.1"),
        ("25", vec!["0.2", "0.5"], "0.17"),
        ("50", vec!["1.0"], "0.25"),
        ("100", vec!["1.0"], "0.5"),
        ("250", vec!["2.0"], "1.0"),
        ("500", vec!["5.0"], "2.0"),
    ] {
        let piece = table.get(&format!("cylinder-{size}-a")).expect(size);
        assert_eq!(piece.tolerance(), dec(a), "{size}");
        let graduation = piece.graduation().expect("graduated");
        assert!(
            least.iter().any(|g| dec(g) == graduation),
            "{size}: {graduation}"
        );
        let b = table.get(&format!("cylinder-{size}-b")).expect(size);
        assert_eq!(b.tolerance(), dec(a) + dec(a), "{size}");
    }
}

// id: glass-burette-a
// id: glass-pipette-flask-a
/// ISO 385:2005 burettes, ISO 648:2008 pipettes, ISO 1042:1998 flasks, class A: from memory.
#[test]
fn burettes_pipettes_flasks() {
    let table = shipped_glassware();
    for (key, tolerance) in [
        ("burette-10-a", "0.02"),
        ("burette-25-a", "0.05"),
        ("burette-50-a", "0.05"),
        ("burette-50-b", "0.1"),
        ("burette-100-a", "0.1"),
        ("pipette-1-a", "0.008"),
        ("pipette-5-a", "0.015"),
        ("pipette-10-a", "0.02"),
        ("pipette-25-a", "0.03"),
        ("pipette-50-a", "0.05"),
        ("pipette-100-a", "0.08"),
        ("flask-50-a", "0.06"),
        ("flask-100-a", "0.10"),
        ("flask-250-a", "0.15"),
        ("flask-1000-a", "0.4"),
    ] {
        assert_eq!(
            table.get(key).expect(key).tolerance(),
            dec(tolerance),
            "{key}"
        );
    }
}

// id: glass-reading-practice
/// OpenStax Chemistry 2e, 1.5 and 4.5: a cylinder marked every 1 mL is read to 0.1 (21.6 mL), a burette marked every
/// 0.1 mL to 0.01. One estimated digit past the finest mark is common practice.
#[test]
fn one_digit_past_the_finest_mark() {
    let table = shipped_glassware();
    for (key, decimals) in [
        ("burette-50-b", Some(2)),
        ("cylinder-50-b", Some(1)),
        ("balance-0.1mg", Some(4)),
        ("pipette-25-a", None),
    ] {
        assert_eq!(table.get(key).expect(key).decimals(), decimals, "{key}");
    }
}
