//! The ways in which two sets of readings are laid beside each other.

use smallvec::{SmallVec, smallvec};

use super::compare::{Layout, Places};
use super::sheet::Sheet;

/// A layout with its share of the level.
pub(super) struct Weighed {
    pub layout: Layout,
    /// Whether the first set is the one that may have met the second: the layout's places are then those of the
    /// second and of the first.
    pub turned: bool,
    pub weight: f64,
}

/// Shares of the level: as they stand, shifted, in another order, both, differences in any order.
const AS_IT_STANDS: f64 = 0.4;
const SHIFTED: f64 = 0.15;
const REORDERED: f64 = 0.25;
const REORDERED_AND_SHIFTED: f64 = 0.1;
const DIFFERENCES: f64 = 0.1;
/// Most numbered trials that are laid in every order.
const MOST_TRIALS: usize = 5;
/// Fewest volumes or amounts that have to be found anywhere in the other set before orders are tried.
const FEWEST_ANYWHERE: usize = 2;

/// Every layout worth a look.
pub(super) fn layouts(one: &Sheet, other: &Sheet) -> Vec<Weighed> {
    let mut found = Vec::new();
    if shared(one, other) < FEWEST_ANYWHERE {
        return found;
    }
    let rows: Places = other
        .rows
        .iter()
        .enumerate()
        .filter_map(|(place, row)| Some((number(one.place(row.trial)?)?, number(place)?)))
        .collect();
    if let Some(shift) = shift_of((one, other), &rows) {
        found.push(Weighed {
            layout: Layout {
                rows: rows.clone(),
                shift,
                by_difference: false,
            },
            turned: false,
            weight: SHIFTED,
        });
    }
    let unnumbered: Places = rows
        .iter()
        .filter(|(a, _)| {
            one.rows
                .get(usize::from(*a))
                .is_some_and(|row| row.trial.number().is_none())
        })
        .copied()
        .collect();
    found.push(Weighed {
        layout: Layout {
            rows: rows.clone(),
            shift: 0,
            by_difference: false,
        },
        turned: false,
        weight: AS_IT_STANDS,
    });
    let (of_one, of_other) = (numbered(one), numbered(other));
    if of_one.len().max(of_other.len()) > MOST_TRIALS {
        return found;
    }
    let orders = orders(&of_one, &of_other);
    let share = 1.0 / orders.len().max(1) as f64;
    for order in orders {
        let mut laid = unnumbered.clone();
        laid.extend(order);
        laid.sort_unstable_by_key(|(_, place)| *place);
        let layout = |rows: &Places, shift, by_difference| Layout {
            rows: rows.clone(),
            shift,
            by_difference,
        };
        found.push(Weighed {
            layout: layout(&laid, 0, true),
            turned: false,
            weight: DIFFERENCES * share,
        });
        if laid == rows {
            continue;
        }
        let mut back: Places = laid.iter().map(|(a, b)| (*b, *a)).collect();
        back.sort_unstable_by_key(|(_, place)| *place);
        // an order is looked at from both sides: where a burette stood before is not the same in the two
        for (rows, turned) in [(laid, false), (back, true)] {
            found.push(Weighed {
                layout: layout(&rows, 0, false),
                turned,
                weight: REORDERED * share / 2.0,
            });
            let sheets = if turned { (other, one) } else { (one, other) };
            if let Some(shift) = shift_of(sheets, &rows) {
                found.push(Weighed {
                    layout: layout(&rows, shift, false),
                    turned,
                    weight: REORDERED_AND_SHIFTED * share / 2.0,
                });
            }
        }
    }
    found
}

/// Of so many rows as nobody hands in the others are not laid beside any.
fn number(place: usize) -> Option<u8> {
    u8::try_from(place).ok()
}

/// Numbers of the rows that are numbered trials.
fn numbered(sheet: &Sheet) -> SmallVec<[u8; 8]> {
    sheet.numbered().into_iter().filter_map(number).collect()
}

/// By how much the second's burette stood higher before the first of some rows; none where it stood the same.
fn shift_of((one, other): (&Sheet, &Sheet), rows: &[(u8, u8)]) -> Option<i64> {
    let (a, b) = rows.first()?;
    let a = one.rows.get(usize::from(*a))?.titres.first()?.start;
    let b = other.rows.get(usize::from(*b))?.titres.first()?.start;
    Some(b.saturating_sub(a)).filter(|shift| *shift != 0)
}

/// How many delivered volumes and amounts of one are found anywhere in the other.
fn shared(one: &Sheet, other: &Sheet) -> usize {
    let volumes = |sheet: &Sheet| -> SmallVec<[i64; 8]> {
        sheet.titres().map(|titre| titre.delivered).collect()
    };
    let amounts = |sheet: &Sheet| -> SmallVec<[i64; 16]> {
        let rows = sheet.rows.iter();
        rows.flat_map(|row| &row.amounts)
            .map(|(_, amount)| *amount)
            .collect()
    };
    let (of_volumes, of_amounts) = (volumes(other), amounts(other));
    let both = volumes(one)
        .iter()
        .filter(|v| of_volumes.contains(v))
        .count();
    let more = amounts(one)
        .iter()
        .filter(|v| of_amounts.contains(v))
        .count();
    both.saturating_add(more)
}

/// Every way of laying the places of the smaller set beside different ones of the larger.
fn orders(one: &[u8], other: &[u8]) -> Vec<Places> {
    let turned = one.len() > other.len();
    let (few, many) = if turned { (other, one) } else { (one, other) };
    let mut found: Vec<Places> = vec![smallvec![]];
    for place in few {
        let grown = found.iter().flat_map(|laid| {
            let free = many.iter().filter(|m| {
                !laid
                    .iter()
                    .any(|(a, b)| if turned { a == *m } else { b == *m })
            });
            free.map(|m| {
                let mut more = laid.clone();
                more.push(if turned { (*m, *place) } else { (*place, *m) });
                more
            })
        });
        found = grown.collect();
    }
    found
}
