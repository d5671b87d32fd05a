//! Symbols that a scanner reads, drawn as one path: black on white, with the quiet zone that the standard asks for.

use qrcodegen::{QrCode, QrCodeEcc};

/// Modules of white around a QR code (ISO/IEC 18004, from memory).
const QUIET: i32 = 4;

/// A QR code as SVG; nothing where the text is too long for one.
pub(super) fn svg(text: &str, says: &str) -> Option<String> {
    let code = QrCode::encode_text(text, QrCodeEcc::Medium).ok()?;
    let side = code.size() + 2 * QUIET;
    let dark = (0..code.size()).flat_map(|y| (0..code.size()).map(move |x| (x, y)));
    let path: String = dark
        .filter(|(x, y)| code.get_module(*x, *y))
        .map(|(x, y)| format!("M{} {}h1v1h-1z", x + QUIET, y + QUIET))
        .collect();
    Some(format!(
        "<svg class=\"symbol\" role=\"img\" aria-label=\"{says}\" viewBox=\"0 0 {side} {side}\" shape-rendering=\"crispEdges\"><path d=\"{path}\"/></svg>"
    ))
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_symbol_has_its_quiet_zone_and_no_more_than_fits() {
        let svg = super::svg("RMB.ABCDEFGHIJKLMNOPQRSTUVWXYZ", "badge B-17").unwrap();
        // Version 2 has 25 modules a side; it holds 38 letters and digits at level M (ISO/IEC 18004, from memory).
        assert!(svg.contains("viewBox=\"0 0 33 33\"") && svg.contains("M4 4h1v1h-1z"), "{svg}");
        assert_eq!(super::svg(&"x".repeat(3_000), "too long"), None);
    }
}
