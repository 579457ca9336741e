//! Signing in as the institution says: a reverse proxy that names the user in a header, or a provider of OpenID Connect.
//! Who that is in the course, and what they may, the course alone says.

mod keys;
mod own_key;
mod provider;
mod services;
mod token;

use std::sync::Arc;

use sha2::{Digest, Sha256};

pub use keys::KeyRing;
pub use own_key::{KeyFault, OwnKey, PublicKey, key_set};
pub use provider::{CameBack, Provider, ProviderSettings, nonce, state};
pub use services::{Account, Answer, Ask, ServiceFault, Services};
pub use token::{ALGORITHMS, Claims, Expected, Key, TokenFault, claims};

/// How the institution's own sign-in leads here.
#[derive(Debug)]
pub enum Campus {
    Proxy(ProxyHeader),
    Provider(Arc<Provider>),
}

/// A proxy of the institution that names the user in a header.
#[derive(Clone, PartialEq, Eq)]
pub struct ProxyHeader {
    /// In lower case.
    pub name: String,
    secret: Vec<u8>,
}

/// Fewest characters of the secret by which a proxy shows that it is the proxy.
pub const SHORTEST_SECRET: usize = 32;

/// Why the institution's sign-in let nobody in.
#[derive(Debug, thiserror::Error)]
pub enum CampusFault {
    #[error("it does not answer as expected: {0}")]
    Unreachable(String),
    #[error("it refused: {0}")]
    Refused(String),
    #[error(transparent)]
    Token(#[from] TokenFault),
    #[error("found a setting that cannot be used: {0}")]
    Setting(String),
}

impl ProxyHeader {
    pub fn new(name: &str, secret: &str) -> Result<Self, CampusFault> {
        if secret.chars().count() < SHORTEST_SECRET {
            return Err(CampusFault::Setting(format!(
                "found a secret of fewer than {SHORTEST_SECRET} characters between the proxy and the server, expected a longer one"
            )));
        }
        Ok(Self {
            name: name.to_ascii_lowercase(),
            secret: secret.as_bytes().to_vec(),
        })
    }

    /// By their hashes, in a time that does not tell how much of it was right.
    pub fn is_secret(&self, given: &[u8]) -> bool {
        Sha256::digest(given) == Sha256::digest(&self.secret)
    }
}

impl std::fmt::Debug for ProxyHeader {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "ProxyHeader({})", self.name)
    }
}
