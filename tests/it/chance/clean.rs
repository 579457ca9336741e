//! Sections in which everybody worked cleanly.

use std::collections::BTreeMap;

use concordant::files::shipped_glassware;
use concordant::judge::FlagCode;
use rand::SeedableRng;
use rand_chacha::ChaCha20Rng;

use super::class::{Class, SECTION, shipped};
use super::many;

/// By pipette, by cylinder, by weighing, in excess.
const PROCEDURES: [&str; 4] = [
    "peroxide-permanganate",
    "well-water-hardness",
    "naoh-against-khp",
    "eggshell-carbonate",
];

/// Fewer than one flag by chance in a clean section, of all kinds together; of the kinds that look beside or below,
/// a few in a hundred sections.
#[test]
fn a_clean_section_raises_less_than_one_flag_by_chance() {
    let sections = many(24, 600);
    let mut rng = ChaCha20Rng::seed_from_u64(2_401);
    let mut counts: BTreeMap<FlagCode, usize> = BTreeMap::new();
    for index in 0..sections {
        let procedure = shipped(PROCEDURES[index % 4], &shipped_glassware());
        let bottles = if index % 8 < 4 { 12 } else { 1 };
        let class = Class::of(procedure, bottles, &mut rng);
        let section = class.section(None, &mut rng);
        let alike = class.alike(&section);
        for (place, work) in section.iter().enumerate() {
            let likenesses = alike.get(&place).map_or(&[][..], Vec::as_slice);
            let flags = class.judge(work, likenesses).flags;
            for flag in flags.iter().filter(|flag| flag.chance > 0.0) {
                *counts.entry(flag.code).or_default() += 1;
            }
        }
    }
    println!("{sections} clean sections of {SECTION}: {counts:?}");
    let of = |code: FlagCode| counts.get(&code).copied().unwrap_or(0) as f64 / sections as f64;
    assert!(counts.values().sum::<usize>() < sections, "{counts:?}");
    for code in [FlagCode::ScatterLow, FlagCode::Alike, FlagCode::EndDigits] {
        assert!(of(code) <= 0.1, "{code} {}", of(code));
    }
}

/// Pairs with the same bottle and lot: at most one in a thousand, though all 24 have that bottle.
#[test]
fn honest_pairs_of_one_bottle_are_not_taken_for_copies() {
    let sections = many(16, 250);
    let mut rng = ChaCha20Rng::seed_from_u64(2_402);
    let (mut flagged, mut pairs) = (0, 0);
    let mut others = (0, 0);
    for index in 0..sections {
        let procedure = shipped(PROCEDURES[index % 2], &shipped_glassware());
        // one bottle for all; now and then two
        let class = Class::of(procedure, 1 + index % 2, &mut rng);
        let [same, other] = class.pairs(&class.section(None, &mut rng));
        (flagged, pairs) = (flagged + same.0, pairs + same.1);
        others = (others.0 + other.0, others.1 + other.1);
    }
    println!("{flagged} of {pairs} honest pairs of one bottle flagged, {others:?} of two bottles");
    assert!(pairs > 3_000);
    assert!(flagged * 1_000 <= pairs, "{flagged} of {pairs}");
    assert!(others.0 * 1_000 <= others.1, "{others:?}");
}
