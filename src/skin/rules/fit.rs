//! What the measures say about the fit: the gap between stoma and opening, and how far the stoma stands out.
//!
//! Limits with source and standing; it warns and must not refuse, for the nurse has seen the stoma.

use crate::provenance::{Source, Standing};

/// A gap below this rubs (mm, all round).
pub const LEAST_GAP_MM: f64 = 1.0;
/// A gap above this leaves skin uncovered (mm, all round).
pub const MOST_GAP_MM: f64 = 3.0;

/// Where the limits of the gap come from. Two sources give other figures and mean other things by them, so the limits
/// are ours.
pub fn gap_source() -> Source {
    Source::new(
        "Our limits. Br J Community Nurs 2019;24(9), quoting Burch and Black 2017: 2–3 mm larger than the stoma; \
         Methodist Health System library, 2020: 1.6–3.2 mm clear all the way round",
        Standing::Local,
    )
}

/// One warning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FitNote {
    /// A stable code, also the sign it makes.
    pub id: &'static str,
    /// In words.
    pub words: String,
    /// Where the limit comes from.
    pub source: Source,
}

/// What the gap all round between stoma and opening says; `None` when it fits.
pub fn opening(gap_mm: f64) -> Option<FitNote> {
    let note = |id, words: String| Some(FitNote { id, words, source: gap_source() });
    if gap_mm < LEAST_GAP_MM {
        note("opening-tight", format!("Gap {gap_mm} mm, below 1 mm all round: the opening may rub or cut the stoma."))
    } else if gap_mm > MOST_GAP_MM {
        note("opening-wide", format!("Gap {gap_mm} mm, above 3 mm all round: output reaches the skin left bare."))
    } else {
        None
    }
}

/// What the protrusion says; `None` when nothing is known against it. `protrusion_mm` is measured above the skin.
pub fn protrusion(kind: &str, protrusion_mm: i32) -> Option<FitNote> {
    let persson = || Source::new("Persson et al., Colorectal Dis 2010;12(10):971–6", Standing::Read);
    let words = match kind {
        "ileostomy" if protrusion_mm < 20 => {
            format!("Stands out {protrusion_mm} mm: ileostomies below 20 mm nearly all leaked and had sore skin.")
        }
        "colostomy" if protrusion_mm < 5 => {
            format!("Stands out {protrusion_mm} mm: of colostomies below 5 mm half leaked and had sore skin.")
        }
        "urostomy" if protrusion_mm < 10 => {
            let source = Source::new("Cottam et al., Colorectal Dis 2007;9(9):834–8", Standing::Read);
            let words =
                format!("Stands out {protrusion_mm} mm: stomas below 10 mm in the first days had more trouble.");
            return Some(FitNote { id: "low-stoma", words, source });
        }
        _ => return None,
    };
    Some(FitNote { id: "low-stoma", words, source: persson() })
}
