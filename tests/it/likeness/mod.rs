//! Readings shared across a whole course: how many copies are found, and that honest students are left alone. Courses of
//! six sections of 24 share six bottles. `CONCORDANT_LONG=1` simulates 180 courses of each scheme.

mod copying;
mod course;
mod earlier;
mod late;

use std::time::Instant;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use concordant::judge::{LikenessIndex, likenesses};
use copying::{Way, copied};
use course::{SCHEMES, SECTION, Scheme};

fn many(few: usize, long: usize) -> usize {
    if std::env::var("CONCORDANT_LONG").is_ok_and(|v| v == "1") {
        long
    } else {
        few
    }
}

/// Of so many copies from another section, how many are found; none where it cannot be copied so.
fn found(scheme: &Scheme, way: Way, copies: usize, seed: u64) -> Option<(usize, usize)> {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let (mut made, mut found, mut tried) = (0, 0, 0);
    let mut course = scheme.course(6, &mut rng);
    while made < copies {
        tried += 1;
        if tried > 20 * copies {
            return None;
        }
        if made % 10 == 0 {
            course = scheme.course(6, &mut rng);
        }
        let original = rng.random_range(0..course.students.len());
        let copier = (original + SECTION * rng.random_range(1..6)) % course.students.len();
        let own = course.students[copier].hand_in.clone();
        let Some(copy) = copied(way, &course.students[original].hand_in, &own, &mut rng) else {
            continue;
        };
        course.students[copier].hand_in = copy;
        made += 1;
        let peers = course.peers();
        let index = LikenessIndex::of(&course.procedure, &peers);
        let shared = index.shared_by(&course.procedure, &peers[copier]);
        let original = &course.students[original].id;
        found += usize::from(shared.iter().any(|one| one.others == [original.as_str()]));
        course.students[copier].hand_in = own;
    }
    Some((found, made))
}

/// Of 100 copies over all schemes, so many at least. An aliquot by pipette holds the least: who fills to zero each time and
/// has no rough titration writes down three volumes, and honest neighbours share as much.
const LEAST: [(Way, usize); 8] = [
    (Way::Exact, 93),
    (Way::MassesInvented, 95),
    (Way::AllInvented, 95),
    (Way::Shifted, 85),
    (Way::Reordered, 85),
    (Way::OneDigit, 85),
    (Way::DigitPerTrial, 65),
    (Way::TwoOfThree, 75),
];

#[test]
fn copies_from_another_section_are_found() {
    let copies = many(10, 400);
    for (number, (way, least)) in (0..).zip(LEAST) {
        let (mut all, mut of) = (0, 0);
        for (place, scheme) in (0..).zip(&SCHEMES) {
            let Some((found, made)) = found(scheme, way, copies, 7_100 + 10 * number + place)
            else {
                continue;
            };
            println!("{way:?}, {}: {found} of {made}", scheme.name);
            (all, of) = (all + found, of + made);
        }
        println!("{way:?}: {all} of {of}");
        assert!(all * 100 >= of * least, "{way:?}: {all} of {of}");
    }
}

/// No honest pair, with one bottle or two, of one section or two, is taken for copies; one in thirty took another
/// bottle than theirs.
#[test]
fn honest_students_are_not_accused() {
    let courses = many(2, 180);
    for (place, scheme) in (0..).zip(&SCHEMES) {
        let mut rng = ChaCha20Rng::seed_from_u64(7_200 + place);
        let mut accused = Vec::new();
        for _ in 0..courses {
            accused.extend(scheme.course(6, &mut rng).alike());
        }
        println!("{}: {} honest pairs", scheme.name, accused.len());
        for (_, _, likeness) in &accused {
            println!("   {:e} {}", likeness.bound, likeness.words());
        }
        assert!(accused.is_empty(), "{}: {accused:?}", scheme.name);
    }
}

/// What is said names the other, their section and what is shared, from both sides.
#[test]
fn what_is_said_of_a_copy_from_another_section() {
    let scheme = &SCHEMES[1];
    let mut rng = ChaCha20Rng::seed_from_u64(7_300);
    let mut course = scheme.course(6, &mut rng);
    let (original, copier) = (3, 3 + 2 * SECTION);
    let own = course.students[copier].hand_in.clone();
    let copy = copied(
        Way::AllInvented,
        &course.students[original].hand_in,
        &own,
        &mut rng,
    );
    course.students[copier].hand_in = copy.expect("can be copied");
    let found = course.alike();
    let [(one, other, likeness)] = found.as_slice() else {
        panic!("{found:?}");
    };
    assert_eq!((*one, *other), (original, copier));
    assert_eq!(likeness.section.as_deref(), Some("section 3"));
    let all = course.students[original].hand_in.titrations.len();
    assert_eq!(likeness.differences, (all, all));
    let words = likeness.words();
    for part in [
        "with s0051 of section section 3: ",
        &format!("{all} of {all} masses by difference"),
        "two people reading on their own share this much less than once in ",
    ] {
        assert!(words.contains(part), "{part} in {words}");
    }
    // looked up alone, it is the same as among all
    let peers = course.peers();
    let index = LikenessIndex::of(&course.procedure, &peers);
    let alone = index.shared_by(&course.procedure, &peers[original]);
    assert_eq!(alone.as_slice(), std::slice::from_ref(likeness));
    let rest: Vec<_> = peers
        .iter()
        .filter(|peer| peer.students != ["s0051"])
        .cloned()
        .collect();
    let rest = LikenessIndex::of(&course.procedure, &rest);
    let new = rest.shared_by(&course.procedure, &peers[copier]);
    assert_eq!(
        new.len(),
        1,
        "who is not yet among them is looked up as well"
    );
    assert_eq!(new[0].others, ["s0003"]);
    assert_eq!(new[0].section.as_deref(), Some("section 1"));
}

/// A bench group reads one set, whatever section its members are of.
/// Until then all were of one section, and nobody knows how often two of different ones share something.
#[test]
fn the_first_of_another_section_are_compared_as_if_all_had_come_at_once() {
    for scheme in &SCHEMES[1..] {
        let mut rng = ChaCha20Rng::seed_from_u64(31);
        let mut course = scheme.course_of(1, 103, &mut rng);
        for (late, original) in [(100, 5), (101, 40), (102, 77)] {
            let own = course.students[late].hand_in.clone();
            let from = course.students[original].hand_in.clone();
            let copy = copied(Way::Exact, &from, &own, &mut rng).expect("can be copied");
            let late = &mut course.students[late];
            late.section = "section 2".to_owned();
            late.hand_in = copy;
        }
        let peers = course.peers();
        let anew = LikenessIndex::of(&course.procedure, &peers).all();
        let mut followed = LikenessIndex::of(&course.procedure, &peers[..100]);
        for late in &peers[100..] {
            followed.update(&course.procedure, late);
        }
        assert_eq!(followed.all(), anew, "{}", scheme.name);
        for (late, original) in [("s0100", "s0005"), ("s0101", "s0040"), ("s0102", "s0077")] {
            let is_it = anew[late].iter().any(|one| one.others == [original]);
            assert!(is_it, "{}: {late}", scheme.name);
        }
    }
}

/// New sets and corrections that come together, copies of one another among them, in parts of any size.
#[test]
fn what_comes_together_is_compared_as_if_each_had_come_alone() {
    for scheme in &SCHEMES[1..] {
        let mut rng = ChaCha20Rng::seed_from_u64(47);
        let mut course = scheme.course_of(4, 30, &mut rng);
        let mut copy = |late: usize, original: usize, how: Way| {
            let own = course.students[late].hand_in.clone();
            let from = course.students[original].hand_in.clone();
            let copy = copied(how, &from, &own, &mut rng);
            course.students[late].hand_in = copy.expect("can be copied");
        };
        // of somebody who was there, of somebody who comes with them, and of each other
        copy(90, 3, Way::Exact);
        copy(91, 90, Way::Exact);
        copy(100, 99, Way::Exact);
        let before = course.clone();
        // two correct what they had, one into what another has
        course.students[7].hand_in = course.students[90].hand_in.clone();
        course.students[8].hand_in = course.students[9].hand_in.clone();
        let mut peers = course.peers();
        for corrected in [7, 8] {
            let (first, unknown) = (
                &before.students[corrected].hand_in,
                peers[corrected].unknown,
            );
            peers[corrected].first = Some((first, unknown));
        }
        let anew = LikenessIndex::of(&course.procedure, &peers).all();
        assert!(
            anew["s0091"].len() >= 2,
            "{}: {:?}",
            scheme.name,
            anew["s0091"]
        );
        let there = before.peers();
        let mut coming: Vec<_> = peers[80..].to_vec();
        coming.insert(4, peers[7].clone());
        coming.insert(20, peers[8].clone());
        for size in [1, 5, 42] {
            let mut followed = LikenessIndex::of(&course.procedure, &there[..80]);
            for part in coming.chunks(size) {
                followed.update_all(&course.procedure, part);
            }
            assert_eq!(followed.all(), anew, "{}, {size} at once", scheme.name);
        }
    }
}

#[test]
fn a_bench_group_is_not_accused() {
    let scheme = &SCHEMES[3];
    let mut rng = ChaCha20Rng::seed_from_u64(7_400);
    let mut course = scheme.course(2, &mut rng);
    course.students[30].hand_in = course.students[2].hand_in.clone();
    assert_eq!(course.alike().len(), 1);
    let mut peers = course.peers();
    for place in [2, 30] {
        peers[place].group = Some("bench 4");
    }
    assert_eq!(likenesses(&course.procedure, &peers).len(), 0);
}

/// As many as are handed in in a large course; how long it takes is printed.
#[test]
fn a_large_course() {
    let scheme = &SCHEMES[2];
    let mut rng = ChaCha20Rng::seed_from_u64(7_500);
    for sections in [6, many(12, 25), many(25, 100)] {
        let mut course = scheme.course(sections, &mut rng);
        let (original, copier) = (40, 100);
        // somebody whose rough titration and fillings are their own
        let telling = |student: &course::Student| {
            let rows = &student.hand_in.titrations;
            let starts: Vec<_> = rows
                .iter()
                .map(|row| row.readings.values().next())
                .collect();
            rows.len() == 4 && starts.windows(2).all(|two| two[0] != two[1])
        };
        let place = course.students.iter().position(telling).expect("somebody");
        course.students.swap(place, original);
        course.students[original].id = format!("s{original:04}");
        course.students[place].id = format!("s{place:04}");
        course.students[copier].hand_in = course.students[original].hand_in.clone();
        let before = Instant::now();
        let found = course.alike();
        println!("{} students: {:?}", course.students.len(), before.elapsed());
        let pairs: Vec<_> = found.iter().map(|(one, other, _)| (*one, *other)).collect();
        assert_eq!(pairs, [(original, copier)], "{found:?}");
    }
}
