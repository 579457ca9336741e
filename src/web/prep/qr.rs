//! QR pictures: an address as one path of an SVG.

use crate::ids::ExperimentKey;
use fast_qr::{ECL, QRBuilder};

/// Modules of white that readers need on every side (ISO/IEC 18004).
const QUIET: usize = 4;

pub struct Qr {
    /// Side of the picture in modules, the white around it included.
    pub side: usize,
    pub path: String,
}

/// The picture of a text; none if it is too long for one.
pub fn qr(text: &str) -> Option<Qr> {
    let code = QRBuilder::new(text).ecl(ECL::M).build().ok()?;
    let mut path = String::new();
    for row in 0..code.size {
        let mut column = 0;
        while column < code.size {
            let dark = |at: usize| at < code.size && code[row][at].value();
            let mut run = 0;
            while dark(column + run) {
                run += 1;
            }
            if run > 0 {
                let (x, y) = (column + QUIET, row + QUIET);
                path.push_str(&format!("M{x} {y}h{run}v1h-{run}z"));
            }
            column += run.max(1);
        }
    }
    Some(Qr {
        side: code.size + 2 * QUIET,
        path,
    })
}

/// The address at which a student who has scanned a bottle starts.
pub fn bottle_address(server: &str, experiment: &ExperimentKey, code: &str) -> String {
    format!(
        "{server}/student/bottle/{}/{}",
        in_path(experiment),
        in_path(code)
    )
}

/// A text as one part of a path.
fn in_path(text: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~".contains(&b);
    let one = |b: u8| {
        if plain(b) {
            char::from(b).to_string()
        } else {
            format!("%{b:02X}")
        }
    };
    text.bytes().map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::{bottle_address, qr};

    /// The picture as a reader sees it: light (255) and dark (0) modules, from the path alone.
    fn modules(side: usize, path: &str) -> Vec<Vec<bool>> {
        let mut dark = vec![vec![false; side]; side];
        for run in path.split('z').filter(|run| !run.is_empty()) {
            let run = run.strip_prefix('M').expect("a move");
            let (at, rest) = run.split_once('h').expect("a run");
            let (x, y) = at.split_once(' ').expect("a place");
            let length: usize = rest
                .split('v')
                .next()
                .expect("a length")
                .parse()
                .expect("n");
            let (x, y): (usize, usize) = (x.parse().expect("x"), y.parse().expect("y"));
            dark[y][x..x + length].fill(true);
        }
        dark
    }

    #[test]
    fn a_reader_finds_the_address_in_the_picture() {
        let address = bottle_address(
            "https://lab.example.edu",
            &crate::ids::ExperimentKey::new("well-water-hardness"),
            "W 01/ä",
        );
        assert_eq!(
            address,
            "https://lab.example.edu/student/bottle/well-water-hardness/W%2001%2F%C3%A4"
        );
        let picture = qr(&address).expect("fits");
        let dark = modules(picture.side, &picture.path);
        const SCALE: usize = 4;
        let side = picture.side * SCALE;
        let mut seen = rqrr::PreparedImage::prepare_from_greyscale(side, side, |x, y| {
            if dark[y / SCALE][x / SCALE] { 0 } else { 255 }
        });
        let grids = seen.detect_grids();
        assert_eq!(grids.len(), 1);
        let (_, text) = grids[0].decode().expect("readable");
        assert_eq!(text, address);
    }

    #[test]
    fn what_is_too_long_has_no_picture() {
        assert!(qr(&"x".repeat(3000)).is_none());
    }
}
