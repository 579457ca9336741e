//! Two terms of one procedure: what is copied from the year before is found, and nobody else is named.

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
