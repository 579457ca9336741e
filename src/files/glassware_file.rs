//! `glassware.toml`: pieces with their sizes, graduations and tolerances.

use crate::measure::{Class, Glassware, GlasswareKind, GlasswareTable};
use crate::text::{Fault, Section, Toml, found};

/// Reads a table of glassware: `[[glassware]]` with `key`, `kind`, `class` (A or B, optional), `capacity_mL`,
/// `graduation_mL` (graduated pieces), `tolerance_mL`, `standard`; for a balance `capacity_g`, `readability_g` and
/// `linearity_g`; for what displays absorbance, pH, mV or mS `range`, `readability` and `accuracy` in its unit.
pub fn read_glassware(file: &str, text: &str) -> Result<GlasswareTable, Vec<Fault>> {
    Toml::read(file, text, |root| {
        root.only(&["glassware"]);
        let mut table = GlasswareTable::default();
        for piece in root
            .tables("glassware", |section| read_piece(&section))
            .into_iter()
            .flatten()
        {
            let (section_line, piece) = piece;
            if table.get(piece.key()).is_some() {
                let what = format!(
                    "found \u{201c}{}\u{201d} again, expected it once",
                    piece.key()
                );
                root.keep(
                    Fault::of_file(file, what)
                        .at(section_line)
                        .in_column("glassware.key"),
                );
            }
            table.insert(piece);
        }
        Some(table)
    })
}

fn read_piece(section: &Section) -> Option<(u64, Glassware)> {
    let kind = section.parsed("kind", |text| {
        GlasswareKind::from_name(text).ok_or_else(|| {
            let kinds = GlasswareKind::ALL.map(GlasswareKind::name).join(", ");
            found(text, &format!("one of {kinds}"))
        })
    })?;
    let (capacity, graduation, tolerance) = match kind {
        GlasswareKind::Balance => ("capacity_g", "readability_g", "linearity_g"),
        GlasswareKind::Spectrophotometer
        | GlasswareKind::PhMeter
        | GlasswareKind::Millivoltmeter
        | GlasswareKind::ConductanceMeter => ("range", "readability", "accuracy"),
        GlasswareKind::Burette
        | GlasswareKind::PistonBurette
        | GlasswareKind::Cylinder
        | GlasswareKind::GraduatedPipette
        | GlasswareKind::Pipette
        | GlasswareKind::Dispenser
        | GlasswareKind::Flask => ("capacity_mL", "graduation_mL", "tolerance_mL"),
    };
    section.only(&[
        "key",
        "kind",
        "class",
        capacity,
        graduation,
        tolerance,
        "standard",
        "from_memory",
    ]);
    let key = section.parsed("key", |text| {
        let fits = (1..=60).contains(&text.len())
            && text
                .bytes()
                .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || matches!(b, b'-' | b'.'));
        fits.then(|| text.to_owned())
            .ok_or_else(|| found(text, "lower-case letters, digits, hyphens and points"))
    });
    let class = section.parsed_if_any("class", |text| match text {
        "A" => Ok(Class::A),
        "B" => Ok(Class::B),
        other => Err(found(other, "A or B")),
    });
    let standard = section.text_if_any("standard").unwrap_or_default();
    let of_memory = section.boolean_or("from_memory", false);
    let standard = if of_memory {
        format!("{standard} (not checked against its text)")
    } else {
        standard
    };
    let graduation = if section.has(graduation) {
        Some(section.number(graduation)?)
    } else {
        None
    };
    let (capacity, tolerance) = (section.number(capacity), section.number(tolerance));
    let piece = Glassware::new(
        &key?, kind, class, capacity?, graduation, tolerance?, &standard,
    );
    piece
        .map(|piece| (section.line("key"), piece))
        .map_err(|why| section.fault("", why.to_string()))
        .ok()
}
