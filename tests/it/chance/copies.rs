//! Readings copied in four ways: how many copies are found.

use concordant::files::shipped_glassware;
use concordant::simulate::copying::{Copying, copied};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::class::{Class, Work, shipped};
use super::many;

/// Ways in which the readings of the original can still be seen.
const RECOGNISED: [Copying; 4] = [
    Copying::Exact,
    Copying::Shifted,
    Copying::Reordered,
    Copying::DigitAltered,
];

/// Of so many copies made in that way, how many are found; one copy per section of 24, by a student with the same
/// bottle.
fn found(key: &str, bottles: usize, how: Copying, copies: usize, seed: u64) -> (usize, usize) {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let (mut made, mut found) = (0, 0);
    while made < copies {
        let class = Class::of(shipped(key, &shipped_glassware()), bottles, &mut rng);
        let mut section = class.section(None, &mut rng);
        let original = rng.random_range(0..section.len());
        let copier = (original + rng.random_range(1..section.len())) % section.len();
        let Work { bottle, hand_in } = section[original].clone();
        let Some(hand_in) = copied(how, &class.procedure, &hand_in, &mut rng) else {
            continue;
        };
        section[copier] = Work { bottle, hand_in };
        made += 1;
        found += usize::from(class.are_alike(&class.alike(&section), original, copier));
    }
    (found, made)
}

/// Three trials each; bottles as they are dealt, twelve to a section.
#[test]
fn copies_are_found() {
    let copies = many(20, 400);
    for how in RECOGNISED {
        let (mut of, mut all) = (0, 0);
        for (index, key) in [
            "peroxide-permanganate",
            "well-water-hardness",
            "naoh-against-khp",
            "eggshell-carbonate",
        ]
        .into_iter()
        .enumerate()
        {
            let (found, made) = found(key, 12, how, copies, 2_410 + index as u64);
            println!("{how:?}, {key}: {found} of {made} found");
            (of, all) = (of + found, all + made);
            assert!(found * 100 >= made * 90, "{how:?} {key}: {found} of {made}");
        }
        assert!(of * 100 >= all * 95, "{how:?}: {of} of {all}");
    }
}

/// Where all 24 have one bottle, and nothing is read but the burette, less can be said.
#[test]
fn copies_are_found_where_everybody_has_one_bottle() {
    let copies = many(30, 600);
    for (how, least) in [
        (Copying::Exact, 95),
        (Copying::Shifted, 95),
        (Copying::Reordered, 95),
        (Copying::DigitAltered, 90),
    ] {
        let (found, made) = found("peroxide-permanganate", 1, how, copies, 2_420);
        println!("{how:?}, one bottle: {found} of {made} found");
        assert!(found * 100 >= made * least, "{how:?}: {found} of {made}");
    }
}

#[test]
fn a_copy_repeats_exactly() {
    let mut rng = ChaCha20Rng::seed_from_u64(2_430);
    let class = Class::of(
        shipped("well-water-hardness", &shipped_glassware()),
        1,
        &mut rng,
    );
    let original = class.work(0, None, &mut rng).hand_in;
    for how in Copying::ALL {
        let copy = |seed| {
            copied(
                how,
                &class.procedure,
                &original,
                &mut ChaCha20Rng::seed_from_u64(seed),
            )
        };
        assert_eq!(copy(1), copy(1));
        assert_eq!(copy(1).as_ref() == Some(&original), how == Copying::Exact);
    }
}
