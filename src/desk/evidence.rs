//! What is kept outside the database, and shows whether it is as it was: receipts, and heads that somebody has signed.

use std::fmt;

use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use jiff::Timestamp;

use super::Desk;
use crate::changes::Change;
use crate::store::{StoreError, entry, first_missing, hash, head, newest_event};
use crate::words::hexadecimal;

/// What names one row and its contents: a number, and a hash that no other contents have.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mark {
    pub of: Marked,
    pub number: i64,
    pub hash: String,
}

/// What a mark is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Marked {
    /// A row of the journal and all before it.
    Journal,
    /// A row of the record of access and all before it.
    Access,
    /// What was handed in, by itself: its student can work it out again.
    HandIn,
}

/// What a receipt shows beside its number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReceiptMarks {
    /// Of everything up to this hand-in.
    pub head: Mark,
    /// Of what was handed in.
    pub digest: Mark,
    /// The text whose SHA-256 that is.
    pub digest_text: String,
}

/// A signed head.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seal {
    /// Hexadecimal.
    pub public_key: String,
    pub at: String,
    pub marks: Vec<Mark>,
}

const FIRST_LINE: &str = "concordant seal 1";

impl Mark {
    /// As it is written: `12-` and the hash of a row of the journal, with `a` or `r` in front for the other two.
    pub fn parse(text: &str) -> Option<Self> {
        let (number, hash) = text.split_once('-')?;
        let (of, number) = match number.as_bytes().first()? {
            b'a' => (Marked::Access, &number[1..]),
            b'r' => (Marked::HandIn, &number[1..]),
            _ => (Marked::Journal, number),
        };
        let is_hash = hash.len() == 64 && hash.bytes().all(|b| b.is_ascii_hexdigit());
        let number = number.parse().ok()?;
        is_hash.then(|| Self {
            of,
            number,
            hash: hash.to_lowercase(),
        })
    }

    /// Every mark that stands in a text, such as a receipt that was copied or a record that was taken away.
    pub fn all_in(text: &str) -> Vec<Self> {
        let words = text.split(|c: char| !c.is_ascii_alphanumeric() && c != '-');
        words.filter_map(Self::parse).collect()
    }
}

impl fmt::Display for Mark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = match self.of {
            Marked::Journal => "",
            Marked::Access => "a",
            Marked::HandIn => "r",
        };
        write!(f, "{letter}{}-{}", self.number, self.hash)
    }
}

/// What the receipt of that number shows. The row of the journal itself is shown to nobody: its hash covers judgements,
/// and whoever had all the rest could find the true value by trying values.
pub async fn receipt_marks(desk: &Desk, receipt: i64) -> Result<Option<ReceiptMarks>, StoreError> {
    let mut reader = desk.store().read().await?;
    let Some((Change::HandIn(kept), made)) = entry(&mut reader, receipt).await? else {
        return Ok(None);
    };
    let head = head(&mut reader, Some(receipt)).await?;
    let body = Change::HandIn(kept).body();
    let body = body.map_err(|why| StoreError::damaged("hand-in", why))?;
    let digest_text =
        serde_json::json!([receipt, made.at.as_millisecond(), body.to_string()]).to_string();
    Ok(head
        .as_deref()
        .and_then(Mark::parse)
        .map(|head| ReceiptMarks {
            head,
            digest: Mark {
                of: Marked::HandIn,
                number: receipt,
                hash: hash(&digest_text),
            },
            digest_text,
        }))
}

/// The first of some marks, each with where it was kept, that the database does not hold.
pub async fn first_lost(
    desk: &Desk,
    kept: &[(Mark, String)],
) -> Result<Option<String>, StoreError> {
    let mut reader = desk.store().read().await?;
    let of = |wanted: Marked| {
        let kept = kept.iter().filter(move |(mark, _)| mark.of == wanted);
        kept.map(|(mark, place)| ((mark.number, mark.hash.clone()), place.clone()))
            .collect::<Vec<_>>()
    };
    if let Some(what) = first_missing(&mut reader, &of(Marked::Journal)).await? {
        return Ok(Some(what));
    }
    for ((number, hash), place) in of(Marked::Access) {
        if newest_event(&mut reader, Some(number)).await? != Some(format!("{number}-{hash}")) {
            return Ok(Some(format!(
                "access_event, row {number}: found another or none, expected the one kept in {place}"
            )));
        }
    }
    drop(reader);
    for ((number, hash), place) in of(Marked::HandIn) {
        let held = receipt_marks(desk, number).await?;
        if held.is_none_or(|held| held.digest.hash != hash) {
            return Ok(Some(format!(
                "receipt {number}: found another hand-in or none, expected the one of {place}"
            )));
        }
    }
    Ok(None)
}

/// A signed text that pins everything that is in the database now.
pub async fn seal(desk: &Desk, key: &[u8; 32], at: Timestamp) -> Result<String, StoreError> {
    let mut reader = desk.store().read().await?;
    let head = head(&mut reader, None).await?.ok_or(StoreError::NoCourse)?;
    let access = newest_event(&mut reader, None).await?;
    let key = SigningKey::from_bytes(key);
    let access = access.map_or_else(|| "none".to_owned(), |mark| format!("a{mark}"));
    let text = format!(
        "{FIRST_LINE}\nhead {head}\naccess {access}\nat {at}\nkey {}\n",
        hexadecimal(key.verifying_key().as_bytes())
    );
    let signature = hexadecimal(&key.sign(text.as_bytes()).to_bytes());
    Ok(format!("{text}signature {signature}\n"))
}

/// The seal that a text is, if it is one; what is wrong with it, if its signature does not hold.
pub fn read_seal(text: &str) -> Option<Result<Seal, String>> {
    text.starts_with(FIRST_LINE).then(|| checked_seal(text))
}

fn checked_seal(text: &str) -> Result<Seal, String> {
    let broken = || "found a seal whose signature does not hold, expected it as it was signed";
    let (signed, signature) = text.rsplit_once("signature ").ok_or_else(broken)?;
    let line = |name: &str| {
        let mut lines = signed.lines();
        lines.find_map(|line| line.strip_prefix(name)?.strip_prefix(' '))
    };
    let public_key = line("key").ok_or_else(broken)?;
    let key = bytes::<32>(public_key).ok_or_else(broken)?;
    let key = VerifyingKey::from_bytes(&key).map_err(|_| broken())?;
    let signature = bytes::<64>(signature.trim()).ok_or_else(broken)?;
    key.verify_strict(signed.as_bytes(), &Signature::from_bytes(&signature))
        .map_err(|_| broken())?;
    Ok(Seal {
        public_key: public_key.to_owned(),
        at: line("at").unwrap_or_default().to_owned(),
        marks: Mark::all_in(signed),
    })
}

/// The public half of a key, in hexadecimal.
pub fn public_key(key: &[u8; 32]) -> String {
    hexadecimal(SigningKey::from_bytes(key).verifying_key().as_bytes())
}

/// So many bytes from hexadecimal; none if it is anything else.
pub fn bytes<const N: usize>(text: &str) -> Option<[u8; N]> {
    let text = text.trim();
    if text.len() != N * 2 || !text.is_ascii() {
        return None;
    }
    let pairs = (0..N).map(|at| u8::from_str_radix(text.get(at * 2..at * 2 + 2)?, 16).ok());
    pairs.collect::<Option<Vec<_>>>()?.try_into().ok()
}
