//! Passwords: which are refused, and how one is hashed.

use std::collections::BTreeSet;

use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use tokio::sync::Semaphore;
use zxcvbn::matching::patterns::MatchPattern;

use super::Desk;
use super::accounts::{AccountError, Person, Role};
use crate::course::Student;
use crate::language::{Message, message};
use crate::store::accounts::Setting;
use crate::term::Term;

/// Fewest characters of a password.
pub const SHORTEST: usize = 15;
/// Most characters; hashing takes no longer for many, but reading them does.
pub const LONGEST: usize = 256;

/// What is reckoned with whole numbers of 64 bits: a path over a keypad, of five neighbours a key, has too many forms for
/// them where it turns more than 27 times.
const STRETCH: usize = 28;

/// Memory in KiB, passes, lanes.
const COST: (u32, u32, u32) = (19 * 1024, 2, 1);
/// Hashing takes a core and 19 MiB each: more at once would starve the pages.
static AT_ONCE: Semaphore = Semaphore::const_new(2);

/// Why a password is not taken, and how many guesses would find it.
#[derive(Clone, Debug, PartialEq)]
pub struct Strength {
    /// Power of ten.
    pub guesses: u32,
    /// Whether it is taken: the highest of five steps, ten thousand million guesses or more.
    pub is_enough: bool,
    /// What makes it easy to guess; none where it is not.
    pub weakness: Option<Message>,
}

impl Strength {
    /// As people read it.
    pub fn words(&self) -> Message {
        match self.guesses {
            0..=3 => message!("password.guesses-few"),
            4..=6 => message!("password.guesses-million"),
            7..=9 => message!("password.guesses-billion"),
            more => message!("password.guesses-power", power = more),
        }
    }
}

/// How hard a password is to find for somebody who knows words and names, and these as well: no less hard than its hardest
/// stretch.
pub fn strength(password: &str, names: &[String]) -> Strength {
    let stretches = stretches(password);
    let strengths = stretches.iter().map(|part| strength_of(part, names));
    let hardest = strengths.max_by_key(|one| (one.is_enough, one.guesses));
    hardest.unwrap_or_else(|| strength_of("", names))
}

/// Parts that are short enough to be reckoned with. What comes again and again is looked at where it does.
fn stretches(password: &str) -> Vec<String> {
    let signs: Vec<char> = password.chars().collect();
    let is_period = |length: &usize| {
        let again = signs.iter().skip(*length);
        again.eq(&signs[..signs.len() - length])
    };
    let length = match (1..=signs.len() / 2).find(is_period) {
        Some(period) if period <= STRETCH => STRETCH / period * period,
        _ => STRETCH,
    };
    let stretches = signs.chunks(length).map(|part| part.iter().collect());
    stretches.collect()
}

fn strength_of(password: &str, names: &[String]) -> Strength {
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let entropy = zxcvbn::zxcvbn(password, &names);
    let is_enough = entropy.score() == zxcvbn::Score::Four;
    let is_name = |pattern: &MatchPattern| match pattern {
        MatchPattern::Dictionary(found) => names.contains(&found.matched_word.as_str()),
        _ => false,
    };
    // a name says more than what surrounds it, unless it is a chance few letters
    let telling = entropy.sequence().iter().max_by_key(|part| {
        let is_known = !matches!(part.pattern, MatchPattern::BruteForce);
        let length = part.token.chars().count();
        (is_name(&part.pattern) && length > 4, is_known, length)
    });
    let weakness = telling.and_then(|part| match &part.pattern {
        pattern if is_name(pattern) => Some(message!("password.is-name")),
        MatchPattern::Dictionary(_) => Some(message!("password.is-word")),
        MatchPattern::Spatial(_) => Some(message!("password.is-keyboard")),
        MatchPattern::Repeat(_) => Some(message!("password.is-repeat")),
        MatchPattern::Sequence(_) => Some(message!("password.is-sequence")),
        MatchPattern::Regex(_) | MatchPattern::Date(_) => Some(message!("password.is-date")),
        MatchPattern::BruteForce => None,
    });
    Strength {
        guesses: (0..=300)
            .take_while(|power| f64::from(*power) <= entropy.guesses_log10())
            .last()
            .unwrap_or(0),
        is_enough,
        weakness: weakness.filter(|_| !is_enough),
    }
}

/// Says in plain words why a password cannot be taken.
pub fn check(password: &str, names: &[String]) -> Result<(), Message> {
    let length = password.chars().count();
    if length < SHORTEST {
        return Err(message!(
            "password.too-short",
            found = length,
            least = SHORTEST
        ));
    }
    if length > LONGEST {
        return Err(message!(
            "password.too-long",
            found = length,
            most = LONGEST
        ));
    }
    let strength = strength(password, names);
    if strength.is_enough {
        return Ok(());
    }
    let guesses = strength.words();
    Err(match strength.weakness {
        Some(weakness) => message!("password.weak", weakness = weakness, guesses = guesses),
        None => message!("password.weak-alone", guesses = guesses),
    })
}

/// Names that are among the first to be tried for somebody: of the person, the course and the institution.
pub fn names(term: &Term, person: &Person, institution: &str) -> Vec<String> {
    // of somebody who is a student beside a login of staff, too
    let number = match person.role {
        Role::Student { .. } => None,
        Role::Assistant { .. } | Role::Coordinator | Role::Prep => {
            term.number_of_staff(&person.login)
        }
    };
    let number = number.map_or(person.login.as_str(), |number| number.as_str());
    let student = term.student(number);
    let of_student = |part: fn(&Student) -> &str| student.map(part).unwrap_or_default();
    let texts = [
        person.login.as_str(),
        person.name.as_str(),
        number,
        of_student(|s| &s.family_name),
        of_student(|s| &s.given_name),
        of_student(|s| &s.email),
        term.course.title.as_str(),
        term.course.term.as_str(),
        institution,
    ];
    let mut names = BTreeSet::from(["concordant".to_owned(), "titration".to_owned()]);
    for text in texts {
        let text = text.to_lowercase();
        let parts = text.split(|c: char| !c.is_alphanumeric());
        names.extend(
            parts
                .filter(|part| part.chars().count() > 2)
                .map(str::to_owned),
        );
        names.insert(text.chars().filter(|c| c.is_alphanumeric()).collect());
        names.insert(text);
    }
    names.remove("");
    names.into_iter().collect()
}

/// A password that can be taken, hashed. Looking at it and hashing it are done away from the threads that serve pages.
pub async fn checked(desk: &Desk, person: &Person, password: &str) -> Result<String, AccountError> {
    let mut reader = desk.store().read().await?;
    let institution = reader.accounts().setting(Setting::Institution).await?;
    drop(reader);
    let image = desk.look().await?;
    let names = names(&image.term, person, &institution.unwrap_or_default());
    let password = password.to_owned();
    let checked = away(move || Ok(check(&password, &names).map(|()| password)));
    let password = checked.await.map_err(AccountError::Machine)?;
    let password = password.map_err(AccountError::Password)?;
    hash(password).await.map_err(AccountError::Machine)
}

/// Hashes a password, away from the threads that serve pages.
pub async fn hash(password: String) -> Result<String, String> {
    away(move || {
        let mut salt = [0_u8; 16];
        getrandom::fill(&mut salt).map_err(|why| why.to_string())?;
        let hashed = hasher()?.hash_password_with_salt(password.as_bytes(), &salt);
        hashed.map(|h| h.to_string()).map_err(|why| why.to_string())
    })
    .await
}

/// Whether a password is the one hashed. Without a hash the answer is no, after the same work.
pub async fn matches(password: String, stored: Option<String>) -> Result<bool, String> {
    let Some(stored) = stored else {
        // a quick answer would tell which logins exist
        return hash(password).await.map(|_| false);
    };
    away(move || {
        Ok(hasher()?
            .verify_password(password.as_bytes(), stored.as_str())
            .is_ok())
    })
    .await
}

async fn away<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, String> + Send + 'static,
) -> Result<T, String> {
    let _turn = AT_ONCE.acquire().await.map_err(|why| why.to_string())?;
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|why| why.to_string())?
}

fn hasher() -> Result<Argon2<'static>, String> {
    let (memory, passes, lanes) = COST;
    let params = Params::new(memory, passes, lanes, None).map_err(|why| why.to_string())?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names() -> Vec<String> {
        [
            "j.moreau",
            "moreau",
            "s00421337",
            "larchfield",
            "volumetric",
        ]
        .map(str::to_owned)
        .to_vec()
    }

    #[test]
    fn good_passphrases_pass() {
        for good in [
            "copper kettle walks north",
            "ÄpfelundBirnenimKorb",
            "seven-otters-18-lamps",
            "             x9 quiet marble",
            "bidor-kalve-munap-hezog-tabuf",
        ] {
            assert_eq!(check(good, &names()), Ok(()), "{good}");
        }
    }

    #[test]
    fn guessable_ones_are_refused_with_a_reason() {
        for (bad, word) in [
            ("short", "at least 15"),
            (&"long".repeat(100), "the most"),
            ("Password123456!", "many people"),
            ("iloveyou1234567", "many people"),
            ("Larchfield2026!", "institution"),
            ("volumetric12345", "the course"),
            ("aaaaaaaaaaaaaaaaaaaa", "over and over"),
            ("kettleskettleskettles", "over and over"),
            ("moreaumoreaumoreau", "over and over"),
            ("J.Moreau12345678", "name"),
            ("qwertyuiopasdfghjkl", "many people"),
            ("abcdefghijklmnopqrst", "order"),
            ("s0042133720042026", "name"),
        ] {
            let why = check(bad, &names()).expect_err(bad);
            let why = why.to_string();
            assert!(why.contains(word), "{bad}: {why}");
            let says_how_strong = why.contains("guesses") || why.contains("characters");
            assert!(says_how_strong, "{bad}: {why}");
        }
    }

    /// Of a path over a keypad the estimator has more forms than its numbers hold.
    #[test]
    fn a_long_way_over_a_keypad_is_looked_at() {
        // what lies around each of 1 to 9
        let around = [
            "245", "13456", "256", "12578", "12346789", "23589", "458", "45679", "568",
        ];
        for walk in 0..40_u64 {
            let (mut path, mut turn) = (String::from("5"), walk);
            while path.len() < LONGEST {
                turn = turn.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                let keys = around[usize::from(path.as_bytes()[path.len() - 1] - b'1')];
                let next = (turn >> 33) as usize % keys.len();
                path.push_str(&keys[next..=next]);
            }
            // whether it is taken is another question
            let _ = check(&path, &names());
        }
    }

    /// A long one is as hard as its hardest stretch, and what is said again is not harder for it.
    #[test]
    fn long_ones_are_looked_at_in_stretches() {
        let hard = format!("{}copper kettle walks north", "a".repeat(100));
        assert_eq!(check(&hard, &names()), Ok(()));
        for bad in [
            "kettleswalk".repeat(9),
            "1234567890".repeat(20),
            "qwertyuiop".repeat(6),
        ] {
            assert!(check(&bad, &names()).is_err(), "{bad}");
        }
    }

    /// However it is put together, the longest that is taken is looked at in no time.
    #[test]
    fn long_ones_cost_little() {
        let begun = std::time::Instant::now();
        for letters in [
            "a1b2c3d4",
            "password",
            "qwertyui",
            "\u{e9}\u{fc}\u{df}",
            "4@1!0$3(",
        ] {
            let long: String = letters.chars().cycle().take(LONGEST).collect();
            // whether it is taken is another question
            let _ = check(&long, &names());
        }
        assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
    }

    #[tokio::test]
    async fn a_hash_holds_its_cost_and_matches_only_its_password() {
        let stored = hash("copper kettle walks north".into())
            .await
            .expect("hashes");
        assert!(
            stored.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{stored}"
        );
        let is = |password: &str, stored: Option<String>| matches(password.to_owned(), stored);
        assert_eq!(
            is("copper kettle walks north", Some(stored.clone())).await,
            Ok(true)
        );
        assert_eq!(
            is("copper kettle walks south", Some(stored)).await,
            Ok(false)
        );
        assert_eq!(is("copper kettle walks north", None).await, Ok(false));
    }
}
