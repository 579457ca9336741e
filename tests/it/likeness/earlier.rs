//! Two terms of one procedure: what is copied from the year before is found, and nobody else is named.

use std::time::Instant;

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure, shipped_procedures};
use concordant::judge::EarlierSets;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::copying::{Way, copied};
use super::course::SCHEMES;
use super::many;

/// Of so many copies, one in each term, so many percent are found at least: an aliquot is told apart by three volumes
/// alone where somebody fills to zero.
const LEAST: [(Way, usize); 4] = [
    (Way::Exact, 90),
    (Way::Reordered, 80),
    (Way::OneDigit, 80),
    (Way::TwoOfThree, 65),
];

#[test]
fn what_is_copied_from_an_earlier_term_is_found_and_nothing_else() {
    let copies = many(4, 100);
    let (mut terms, mut others) = (0, Vec::new());
    for (number, (way, least)) in (0..).zip(LEAST) {
        let (mut found, mut of) = (0, 0);
        for (place, scheme) in (0..).zip(&SCHEMES) {
            let mut rng = ChaCha20Rng::seed_from_u64(8_100 + 10 * number + place);
            for _ in 0..copies {
                let (old, mut new) = (scheme.course(2, &mut rng), scheme.course(2, &mut rng));
                let original = rng.random_range(0..old.students.len());
                let copier = rng.random_range(0..new.students.len());
                let own = &new.students[copier].hand_in;
                let Some(copy) = copied(way, &old.students[original].hand_in, own, &mut rng) else {
                    continue;
                };
                new.students[copier].hand_in = copy;
                let mut earlier = EarlierSets::default();
                earlier.add(&old.procedure, "last year", &old.peers());
                let shared = earlier.shared_by(&new.procedure, &new.peers());
                (terms, of) = (terms + 1, of + 1);
                for one in shared {
                    let is_copy = one.earlier == original
                        && one.students == [new.students[copier].id.as_str()];
                    match is_copy {
                        true => found += 1,
                        false => others.push((scheme.name, one.likeness.words())),
                    }
                }
            }
        }
        println!("{way:?}: {found} of {of}");
        assert!(found * 100 >= of * least, "{way:?}: {found} of {of}");
    }
    // some 2,300 honest pairs a time
    println!("{terms} pairs of terms, honest pairs named: {others:?}");
    assert!(others.is_empty(), "{others:?}");
}

/// Two bottles, sections and students of one name in two terms are not the same.
#[test]
fn names_of_two_terms_are_two_names() {
    let scheme = &SCHEMES[1];
    let mut rng = ChaCha20Rng::seed_from_u64(8_200);
    let (old, mut new) = (scheme.course(1, &mut rng), scheme.course(1, &mut rng));
    // the same number in both: somebody hands in what they had a year ago
    new.students[5].hand_in = old.students[5].hand_in.clone();
    assert_eq!(new.students[5].id, old.students[5].id);
    let mut earlier = EarlierSets::default();
    earlier.add(&old.procedure, "last year", &old.peers());
    let shared = earlier.shared_by(&new.procedure, &new.peers());
    let [one] = shared.as_slice() else {
        panic!("{shared:?}");
    };
    assert_eq!(one.earlier, 5);
    assert_eq!(one.students, [new.students[5].id.as_str()]);
    let words = one.likeness.clone().with("somebody".to_owned()).words();
    assert!(words.starts_with("with somebody: "), "{words}");
    assert!(earlier.shared_by(&new.procedure, &[]).is_empty());
}

/// One copy among whole classes of both years is found, however many there are.
#[test]
fn a_copy_is_found_beside_a_large_earlier_term() {
    let sections = many(4, 12);
    for (place, scheme) in (0..).zip(&SCHEMES) {
        let mut rng = ChaCha20Rng::seed_from_u64(8_300 + place);
        let old = scheme.course(sections, &mut rng);
        let mut new = scheme.course(sections, &mut rng);
        let own = new.students[7].hand_in.clone();
        let copy = copied(Way::Exact, &old.students[11].hand_in, &own, &mut rng);
        new.students[7].hand_in = copy.expect("can be copied");
        let mut earlier = EarlierSets::default();
        let before = Instant::now();
        earlier.add(&old.procedure, "last year", &old.peers());
        let shared = earlier.shared_by(&new.procedure, &new.peers());
        let (n, took) = (old.students.len(), before.elapsed());
        println!("{}: {n} beside {n}: {took:?}", scheme.name);
        let pairs: Vec<_> = shared
            .iter()
            .map(|one| (one.students[0].as_str(), one.earlier))
            .collect();
        assert_eq!(pairs, [(new.students[7].id.as_str(), 11)], "{shared:?}");
    }
}

/// What is measured tells shipped procedures apart, whatever they are called; and one called otherwise is the same.
#[test]
fn what_is_measured_tells_procedures_apart() {
    let glassware = shipped_glassware();
    let read = |key: &str, text: &str| read_procedure(key, text, &glassware).expect("is sound");
    let shipped = shipped_procedures();
    let all: Vec<_> = shipped
        .iter()
        .map(|(key, text)| (key, read(key, text).measured()))
        .collect();
    assert!(all.len() > 20, "{}", all.len());
    let mut same = Vec::new();
    for (n, (key, one)) in all.iter().enumerate() {
        let others = all.iter().skip(n + 1).filter(|(_, other)| one == other);
        same.extend(others.map(|(other, _)| (key.as_str(), other.as_str())));
    }
    // of each pair the same is read of the same titration; what becomes of it, and with whose titrant, is another matter
    let expected = [
        ("acid-gran", "vinegar-curve"),
        ("copper-iodometric", "copper-own-thiosulfate"),
        ("hard-water-cylinder", "well-water-hardness"),
        ("iron-absorbance", "iron-tonic-own-line"),
        ("vinegar-acidity", "vinegar-own-hydroxide"),
    ];
    assert_eq!(same, expected);
    let vinegar = shipped_procedure("vinegar-acidity").expect("is shipped");
    let renamed = vinegar
        .replace("vinegar-acidity", "acidity-of-vinegar")
        .replace("Acid in a table vinegar", "Vinegar");
    let renamed = read("acidity-of-vinegar", &renamed).measured();
    assert_eq!(read("vinegar-acidity", &vinegar).measured(), renamed);
}
