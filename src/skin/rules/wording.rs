//! What the form says beside each domain, severity and area, in our own words.
//!
//! First what holds on every skin tone (texture, warmth, pain, moisture, extent), colour after that: redness may not
//! look red on brown or black skin. The published score sheet's wording belongs to others and is not used here. The
//! words describe what is seen; they must not name a cause.

use crate::provenance::{Source, Standing};

use super::score::Domain;

/// Where the line between severity 1 and 2 comes from.
pub fn severity_source() -> Source {
    Source::new(
        "The difference between severity 1 and 2 after Martins et al., WCET J 2008;28:S8–13 and Jemec et al., Br J \
         Dermatol 2011;164:330–5, recalled; the words are ours",
        Standing::FromMemory,
    )
}

/// Where the area limits come from.
pub fn area_source() -> Source {
    Source::new("Score sheet hosted by a Canadian regional health directory, undated", Standing::Read)
}

/// Where the advice on skin tone comes from.
pub fn skin_tone_source() -> Source {
    Source::new("NHS digital service manual, inclusive content: skin symptoms", Standing::Read)
}

/// The words of one domain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DomainWords {
    /// Heading.
    pub title: &'static str,
    /// What counts.
    pub what: &'static str,
    /// What to feel and ask for first, whatever the skin tone.
    pub every_skin_tone: &'static str,
    /// What colour may show, and how.
    pub colour: &'static str,
    /// Severity 0, 1 and 2.
    pub severity: [&'static str; 3],
}

/// Said once above the three domains.
pub const BEFORE_SCORING: &str = "Look at the skin the plate covers, not at the stoma. Clean and dry it, and wait a \
    few minutes: a mark that fades after the plate comes off is usual. Feel and ask before you judge colour. Give each \
    domain the worst severity you see anywhere in it.";

/// Said beside every item that asks for colour.
pub const COLOUR_HINT: &str = "Compare with the patient's own skin on the other side of the abdomen. On brown and \
    black skin a change may look purple, grey, darker or lighter rather than red.";

/// The words of a domain.
pub fn domain_words(domain: Domain) -> DomainWords {
    match domain {
        Domain::Discolouration => DomainWords {
            title: "Discolouration",
            what: "All skin under the plate that is not as the patient's skin is elsewhere, broken and raised skin \
                   included.",
            every_skin_tone: "Run a clean finger over it: is it warmer, harder, tighter or damper than the skin \
                              around? Does it hurt, itch or burn? How far does it reach?",
            colour: "Then the colour: redder, purple, grey, darker or lighter than the other side of the abdomen.",
            severity: [
                "None: feels and looks like the skin elsewhere.",
                "Different in look only: no pain, itch or burning, not warm, not hard.",
                "Different with a complaint or sign: pain, itch, burning, warmth or hardness.",
            ],
        },
        Domain::Erosion => DomainWords {
            title: "Erosion",
            what: "Skin that has lost its surface, or more than that.",
            every_skin_tone: "Is the surface wet, sticky or rough to a dry swab? Does it sting when air or water \
                              reaches it? Is there an edge to feel? How far does it reach?",
            colour: "Then the colour: a raw surface may be pink, red, yellowish or paler than the skin around.",
            severity: [
                "None: the surface is whole and dry.",
                "Surface lost: thin, shallow, nearly dry.",
                "Deeper loss: wet, bleeding, or an ulcer with an edge.",
            ],
        },
        Domain::Overgrowth => DomainWords {
            title: "Tissue overgrowth",
            what: "Tissue raised above the skin: warty or thickened skin, or soft beads at the edge of the stoma.",
            every_skin_tone: "Can you feel it stand above the skin? Is it firm or soft, dry or damp? Does it hurt or \
                              bleed when touched? How far does it reach?",
            colour: "Then the colour: it may be white, grey, brown or red, lighter or darker than the skin around.",
            severity: [
                "None: level with the skin around.",
                "Raised, dry, no pain and no bleeding.",
                "Raised with bleeding, pain or moisture.",
            ],
        },
    }
}

/// The words of the area points 0–3; `None` for any other number.
pub fn area_words(points: u8) -> Option<&'static str> {
    match points {
        0 => Some("None of the skin under the plate"),
        1 => Some("Less than a quarter of the skin under the plate"),
        2 => Some("A quarter to a half of the skin under the plate"),
        3 => Some("More than half of the skin under the plate"),
        _ => None,
    }
}
