//! Where a request comes from, and how many of those without a session are looked at together.

use std::collections::BTreeMap;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{ConnectInfo, FromRequestParts};
use axum::http::request::Parts;
use axum_extra::extract::CookieJar;
use axum_extra::extract::cookie::{Cookie, SameSite};
use jiff::Timestamp;

use crate::desk::accounts::{Attempt, From, SLOWLY, is_slowed};
use crate::language::message;
use crate::web::error::{PageError, PageResult};
use crate::web::random_key;
use crate::web::state::{AppState, Settings};

/// Attempts from one network that are looked at together: a large class signs in at the same minute.
const MOST_AT_ONCE: usize = 256;
/// The same where very many failed.
const MOST_WHERE_SLOWED: usize = 8;

/// Where a request comes from, as far as can be known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caller {
    /// An IPv4 address, or the first 64 bits of an IPv6 address, which one subscriber has.
    pub network: String,
    /// What the browser is called by its own cookie, or will be.
    pub browser: String,
    /// Whether it comes straight from a proxy of our own.
    pub is_by_proxy: bool,
}

/// Attempts under way, by network.
#[derive(Clone, Debug, Default)]
pub struct Gate(Arc<Mutex<BTreeMap<String, usize>>>);

/// A place among the attempts under way; free again when dropped.
#[derive(Debug)]
pub struct Turn {
    gate: Gate,
    network: String,
}

impl Caller {
    pub fn from(&self) -> From<'_> {
        From {
            network: &self.network,
            browser: &self.browser,
        }
    }

    /// An attempt to come in, from here.
    pub fn attempt<'a>(&'a self, login: &'a str, at: Timestamp) -> Attempt<'a> {
        Attempt {
            login,
            from: self.from(),
            at,
        }
    }

    /// The cookie by which the browser is known again.
    pub fn cookie(&self, settings: &Settings) -> Cookie<'static> {
        Cookie::build((cookie_name(settings), self.browser.clone()))
            .path("/")
            .http_only(true)
            .secure(settings.secure_cookies)
            .same_site(SameSite::Lax)
            .permanent()
            .build()
    }
}

impl FromRequestParts<AppState> for Caller {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> PageResult<Self> {
        let peer = parts.extensions.get::<ConnectInfo<SocketAddr>>();
        let peer = peer.map(|peer| peer.0.ip().to_canonical());
        let trusted = peer.is_some_and(|peer| state.is_proxy(peer));
        let forwarded = parts.headers.get_all("x-forwarded-for").iter().next_back();
        let forwarded = forwarded.filter(|_| trusted);
        let forwarded =
            forwarded.and_then(|list| list.to_str().ok()?.rsplit(',').next()?.trim().parse().ok());
        let address = forwarded.or(peer);
        let jar = CookieJar::from_headers(&parts.headers);
        let given = jar.get(cookie_name(&state.settings)).map(Cookie::value);
        let given =
            given.filter(|name| name.len() == 32 && name.bytes().all(|b| b.is_ascii_hexdigit()));
        Ok(Self {
            is_by_proxy: trusted,
            network: address.map_or_else(|| "unknown".to_owned(), network),
            browser: match given {
                Some(name) => name.to_owned(),
                None => random_key()?,
            },
        })
    }
}

impl Gate {
    /// Lets an attempt go on, slowly where very many failed; refuses it at once where too many are under way.
    pub async fn enter(&self, state: &AppState, caller: &Caller) -> PageResult<Turn> {
        let slowed = is_slowed(&state.people, caller.from(), state.clock.now()).await?;
        let most = if slowed {
            MOST_WHERE_SLOWED
        } else {
            MOST_AT_ONCE
        };
        let turn = self
            .turn(&caller.network, most)
            .ok_or_else(|| PageError::too_many(message!("error.network-busy"), SLOWLY.as_secs()))?;
        if slowed {
            tokio::time::sleep(SLOWLY).await;
        }
        Ok(turn)
    }

    fn turn(&self, network: &str, most: usize) -> Option<Turn> {
        let mut under_way = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let here = under_way.entry(network.to_owned()).or_default();
        if *here >= most {
            return None;
        }
        *here += 1;
        Some(Turn {
            gate: self.clone(),
            network: network.to_owned(),
        })
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let mut under_way = self.gate.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(here) = under_way.get_mut(&self.network) {
            *here -= 1;
            if *here == 0 {
                under_way.remove(&self.network);
            }
        }
    }
}

fn cookie_name(settings: &Settings) -> &'static str {
    if settings.secure_cookies {
        "__Host-concordant-browser"
    } else {
        "concordant-browser"
    }
}

fn network(address: IpAddr) -> String {
    match address.to_canonical() {
        IpAddr::V4(address) => address.to_string(),
        IpAddr::V6(address) => {
            let [a, b, c, d, ..] = address.segments();
            format!("{a:x}:{b:x}:{c:x}:{d:x}::/64")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_subscriber_of_ipv6_is_one_network() {
        let of = |text: &str| network(text.parse().expect("is an address"));
        assert_eq!(of("2001:db8:1:2::1"), "2001:db8:1:2::/64");
        assert_eq!(of("2001:db8:1:2:ffff:ffff:ffff:ffff"), of("2001:db8:1:2::"));
        assert_ne!(of("2001:db8:1:3::1"), of("2001:db8:1:2::1"));
        assert_eq!(of("::ffff:198.51.100.7"), "198.51.100.7");
    }

    #[test]
    fn a_place_is_free_again_when_its_attempt_ends() {
        let gate = Gate::default();
        let held: Vec<_> = (0..3).map_while(|_| gate.turn("a", 2)).collect();
        assert_eq!(held.len(), 2);
        assert!(gate.turn("b", 2).is_some(), "others are not held up");
        drop(held);
        assert!(gate.turn("a", 2).is_some());
        assert!(
            gate.0.lock().expect("is sound").is_empty(),
            "nothing is kept"
        );
    }
}
