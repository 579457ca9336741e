//! Passwords: which are refused, and how one is hashed.

use std::collections::BTreeSet;

use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use tokio::sync::Semaphore;

/// Fewest characters of a password.
pub const SHORTEST: usize = 15;
/// Most characters; hashing takes no longer for many, but reading them does.
pub const LONGEST: usize = 256;

/// Memory in KiB, passes, lanes.
const COST: (u32, u32, u32) = (19 * 1024, 2, 1);
/// Hashing takes a core and 19 MiB each: more at once would starve the pages.
static AT_ONCE: Semaphore = Semaphore::const_new(2);

/// Characters that must be left once everything guessable is taken out.
const FEWEST_OF_ITS_OWN: usize = 6;
/// Different characters a password must have.
const FEWEST_DIFFERENT: usize = 5;

/// Long passwords that everybody thinks of, without case, spaces or marks.
const COMMON: &[&str] = &[
    "passwordpassword",
    "password12345678",
    "mypasswordispassword",
    "thisismypassword",
    "thisisapassword",
    "thisisaverylongpassword",
    "averylongpassword",
    "correcthorsebatterystaple",
    "correcthorsebattery",
    "iloveyouforever",
    "iloveyousomuch",
    "letmeinletmein",
    "letmeinplease",
    "welcomewelcome",
    "administrator",
    "administratorpassword",
    "changemechangeme",
    "pleasechangeme",
    "chemistrychemistry",
    "ilovechemistry",
    "ihatechemistry",
    "chemistrylaboratory",
    "chemistrylabpassword",
    "generalchemistry",
    "analyticalchemistry",
    "titrationtitration",
    "concordantconcordant",
    "maytheforcebewithyou",
    "tobeornottobe",
    "tobeornottobethatisthequestion",
    "thequickbrownfox",
    "thequickbrownfoxjumps",
    "thequickbrownfoxjumpsoverthelazydog",
    "loremipsumdolorsitamet",
    "onetwothreefourfive",
    "abracadabraabracadabra",
    "supercalifragilisticexpialidocious",
    "qwertyuiopasdfghjkl",
    "sunshinesunshine",
    "princessprincess",
    "footballfootball",
    "trustno1trustno1",
];

/// Rows, columns and runs that fingers and minds follow; each is taken both ways.
const WALKS: &[&str] = &[
    "qwertyuiop",
    "asdfghjkl",
    "zxcvbnm",
    "qwertzuiop",
    "yxcvbnm",
    "azertyuiop",
    "qsdfghjklm",
    "wxcvbn",
    "01234567890123456789",
    "abcdefghijklmnopqrstuvwxyz",
    "1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik",
    "qazwsxedcrfvtgbyhnujmik",
    "1q2w3e4r5t6y7u8i9o0p",
];

/// Says in plain words why a password cannot be taken.
pub fn check(password: &str, login: &str) -> Result<(), String> {
    let length = password.chars().count();
    if length < SHORTEST {
        return Err(format!(
            "It has {length} characters and needs at least {SHORTEST}. Three or four words that have nothing to do with each other make a good one."
        ));
    }
    if length > LONGEST {
        return Err(format!(
            "It has {length} characters; the most that can be kept is {LONGEST}."
        ));
    }
    let plain = plain(password);
    if COMMON.iter().any(|common| {
        plain.trim_end_matches(|c: char| c.is_ascii_digit()) == *common || plain == *common
    }) {
        return Err("It is one that many people use, so it is among the first to be guessed. Choose words of your own.".into());
    }
    if plain.chars().collect::<BTreeSet<_>>().len() < FEWEST_DIFFERENT {
        return Err(format!(
            "It is made of fewer than {FEWEST_DIFFERENT} different letters or digits. Use more."
        ));
    }
    if repeats(&plain) {
        return Err(
            "It says the same thing over and over, which is easily guessed. Use different words."
                .into(),
        );
    }
    if own_characters(&plain) < FEWEST_OF_ITS_OWN {
        return Err("It follows the keyboard, the alphabet or the digits in order, which is easily guessed. Use words.".into());
    }
    let login = self::plain(login);
    if login.chars().count() >= 3 && own_characters(&plain.replace(&login, "")) < FEWEST_OF_ITS_OWN
    {
        return Err(
            "It is little more than your login, which others know. Choose something else.".into(),
        );
    }
    Ok(())
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

/// Without case, spaces or marks.
fn plain(text: &str) -> String {
    text.to_lowercase()
        .chars()
        .filter(|c| c.is_alphanumeric())
        .collect()
}

/// Whether a text is one short unit again and again.
fn repeats(text: &str) -> bool {
    let letters: Vec<char> = text.chars().collect();
    (1..=letters.len() / 2).any(|unit| {
        letters
            .iter()
            .zip(letters.iter().cycle().skip(unit))
            .take(letters.len() - unit)
            .all(|(a, b)| a == b)
    })
}

/// How many characters are left once stretches of four or more along a walk are taken out.
fn own_characters(text: &str) -> usize {
    let letters: Vec<char> = text.chars().collect();
    let (mut at, mut own) = (0, 0);
    while at < letters.len() {
        let rest = &letters[at..];
        let stretch = (4..=rest.len())
            .take_while(|n| on_a_walk(&rest[..*n]))
            .last();
        match stretch {
            Some(n) => at += n,
            None => {
                at += 1;
                own += 1;
            }
        }
    }
    own
}

fn on_a_walk(stretch: &[char]) -> bool {
    let forth: String = stretch.iter().collect();
    let back: String = stretch.iter().rev().collect();
    let same = stretch.windows(2).all(|pair| pair[0] == pair[1]);
    same || WALKS
        .iter()
        .any(|walk| walk.contains(&forth) || walk.contains(&back))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn good_passphrases_pass() {
        for good in [
            "copper kettle walks north",
            "ÄpfelundBirnenimKorb",
            "seven-otters-18-lamps",
            "             x9 quiet marble",
        ] {
            assert_eq!(check(good, "j.moreau"), Ok(()), "{good}");
        }
    }

    #[test]
    fn guessable_ones_are_refused_with_a_reason() {
        for (bad, word) in [
            ("short", "at least 15"),
            (&"long".repeat(100), "the most"),
            ("Correct horse battery staple", "many people"),
            ("passwordpassword2026", "many people"),
            ("aaaabbbbccccddddaaaa", "different"),
            ("kettles-kettles-kettles", "over and over"),
            ("j.moreau-j.moreau-1", "login"),
            ("qwertyuiopasdfghjkl;", "many people"),
            ("qwertyuiop1234567890", "keyboard"),
            ("abcdefghijklmnopqrst", "keyboard"),
            ("poiuytrewq0987654321", "keyboard"),
            ("1qaz2wsx3edc4rfv5tgb", "keyboard"),
        ] {
            let why = check(bad, "j.moreau").expect_err(bad);
            assert!(why.contains(word), "{bad}: {why}");
        }
    }

    #[test]
    fn the_login_with_its_marks_is_found_too() {
        assert!(check("s-0042-1337 s-0042-1337!", "s-0042-1337").is_err());
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
