//! Long lists in parts, so that no page grows with the course.

use super::Fields;
use super::changing::in_query;

/// Links to the parts of a list; none where there is but one.
#[derive(Default)]
pub struct Parts(pub Vec<PartLink>);

pub struct PartLink {
    pub words: String,
    /// None for the part that is shown.
    pub href: Option<String>,
}

impl Parts {
    /// Leaves of a list the part that `?part=` asks for, of at most so much together unless a single item is more;
    /// `words` names a part by its first and last item.
    pub fn cut<T>(
        items: &mut Vec<T>,
        most: usize,
        query: &Fields,
        size: impl Fn(&T) -> usize,
        words: impl Fn(&T, &T) -> String,
    ) -> Self {
        let mut parts: Vec<Vec<T>> = Vec::new();
        let mut room = 0_usize;
        for item in items.drain(..) {
            let size = size(&item);
            match parts.last_mut().filter(|_| size <= room) {
                Some(part) => part.push(item),
                None => {
                    parts.push(vec![item]);
                    room = most;
                }
            }
            room = room.saturating_sub(size);
        }
        let last = parts.len().saturating_sub(1);
        let asked: usize = query.text("part").parse().unwrap_or(1);
        let shown = asked.saturating_sub(1).min(last);
        let others: String = query
            .pairs()
            .filter(|(name, _)| *name != "part")
            .map(|(name, value)| format!("&{name}={}", in_query(value)))
            .collect();
        let link = |(place, part): (usize, &Vec<T>)| {
            let (first, last) = (part.first()?, part.last()?);
            let href = format!("?part={}{others}", place.saturating_add(1));
            Some(PartLink {
                words: words(first, last),
                href: (place != shown).then_some(href),
            })
        };
        let mut links: Vec<PartLink> = parts.iter().enumerate().filter_map(link).collect();
        if links.len() < 2 {
            links.clear();
        }
        if shown < parts.len() {
            *items = parts.swap_remove(shown);
        }
        Self(links)
    }
}

/// Names of the first and the last of a part.
pub fn from_to(first: &str, last: &str) -> String {
    if first == last {
        first.to_owned()
    } else {
        format!("{first} to {last}")
    }
}
