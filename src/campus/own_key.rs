//! Keys of this server's own: made, kept, published and signed with (RFC 7515, 7517, 7518, 7638).
//!
//! `ring` signs and checks that a key is sound; it makes none of RSA, the only kind that every platform has to take (1EdTech
//! Security Framework 1.0). The crate `rsa` makes them, and does nothing else here: what is known against it is the time
//! that its decryption and signing take.

use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use rand_chacha::ChaCha20Rng;
use rand_chacha::rand_core::SeedableRng as _;
use ring::rand::SystemRandom;
use ring::rsa::PublicKeyComponents;
use ring::signature::{RSA_PKCS1_SHA256, RsaKeyPair};
use rsa::PrivateKey;
use rsa::pkcs8::EncodePrivateKey as _;
use serde::Serialize;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

/// Bits of a key (RFC 7518, 3.3: 2048 at least).
const BITS: usize = 2_048;

/// A key that signs.
pub struct OwnKey {
    pair: RsaKeyPair,
    public: PublicKey,
}

/// The part of a key that everybody may know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PublicKey {
    /// Its thumbprint, by which it is called (RFC 7638).
    pub kid: String,
    /// Modulus and exponent, in base64url (RFC 7518, 6.3.1).
    pub n: String,
    pub e: String,
}

/// Why there is no key.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a key of this server: {0}")]
pub struct KeyFault(String);

impl OwnKey {
    /// Makes a key, and says what is to be kept of it: PKCS #8 in base64. Takes a second or so.
    pub fn make() -> Result<(Self, String), KeyFault> {
        let mut seed = [0_u8; 32];
        getrandom::fill(&mut seed).map_err(fault)?;
        let made = PrivateKey::new(&mut ChaCha20Rng::from_seed(seed), BITS).map_err(fault)?;
        let kept = STANDARD.encode(made.to_pkcs8_der().map_err(fault)?.as_bytes());
        Ok((Self::read(&kept)?, kept))
    }

    /// A key that was kept.
    pub fn read(kept: &str) -> Result<Self, KeyFault> {
        let kept = STANDARD.decode(kept).map_err(fault)?;
        let pair = RsaKeyPair::from_pkcs8(&kept).map_err(fault)?;
        let PublicKeyComponents::<Vec<u8>> { n, e } = pair.public().into();
        let (n, e) = (URL_SAFE_NO_PAD.encode(n), URL_SAFE_NO_PAD.encode(e));
        let kid = thumbprint(&n, &e);
        let public = PublicKey { kid, n, e };
        Ok(Self { pair, public })
    }

    pub fn public(&self) -> &PublicKey {
        &self.public
    }

    /// A token with these claims, signed by RS256.
    pub fn signed(&self, claims: &Value) -> Result<String, KeyFault> {
        let header = json!({ "alg": "RS256", "typ": "JWT", "kid": self.public.kid });
        let encode = |part: &Value| URL_SAFE_NO_PAD.encode(part.to_string());
        let text = format!("{}.{}", encode(&header), encode(claims));
        let mut signature = vec![0; self.pair.public().modulus_len()];
        let random = SystemRandom::new();
        let signed = self
            .pair
            .sign(&RSA_PKCS1_SHA256, &random, text.as_bytes(), &mut signature);
        signed.map_err(fault)?;
        Ok(format!("{text}.{}", URL_SAFE_NO_PAD.encode(signature)))
    }
}

impl std::fmt::Debug for OwnKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "OwnKey({})", self.public.kid)
    }
}

/// Keys as they are published (RFC 7517, 5).
pub fn key_set(keys: &[PublicKey]) -> String {
    let keys = keys.iter().map(|key| {
        let PublicKey { kid, n, e } = key;
        json!({ "kty": "RSA", "use": "sig", "alg": "RS256", "kid": kid, "n": n, "e": e })
    });
    json!({ "keys": keys.collect::<Vec<_>>() }).to_string()
}

/// The members that RFC 7638 asks for of RSA, in its order, hashed.
fn thumbprint(n: &str, e: &str) -> String {
    #[derive(Serialize)]
    struct Needed<'a> {
        e: &'a str,
        kty: &'a str,
        n: &'a str,
    }
    let needed = Needed { e, kty: "RSA", n };
    // text alone, which can always be written
    let text = serde_json::to_string(&needed).unwrap_or_default();
    URL_SAFE_NO_PAD.encode(Sha256::digest(text))
}

fn fault(why: impl std::fmt::Display) -> KeyFault {
    KeyFault(why.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_thumbprint_is_that_of_the_example() {
        // RFC 7638, 3.1
        let n = "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhDR1L6tSoc_BJECPebWKRXjBZCiFV4n3oknjhMstn64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2QvzqY368QQMicAtaSqzs8KJZgnYb9c7d0zgdAZHzu6qMQvRL5hajrn1n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3XPksINHaQ-G_xBniIqbw0Ls1jF44-csFCur-kEgU8awapJzKnqDKgw";
        assert_eq!(
            thumbprint(n, "AQAB"),
            "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"
        );
    }

    #[test]
    fn what_was_kept_signs_as_the_key_that_was_made() {
        let (made, kept) = OwnKey::make().expect("a key");
        let read = OwnKey::read(&kept).expect("the same");
        assert_eq!(made.public(), read.public());
        let claims = json!({ "iss": "tool" });
        // RSASSA-PKCS1-v1_5 is the same each time
        assert_eq!(made.signed(&claims), read.signed(&claims));
        assert!(OwnKey::read("AAAA").is_err());
    }
}
