//! The skin between stoma and plate edge: areas of sectors and rings, by integration along rays.
//!
//! The stoma is an ellipse about the origin, the plate a circle about its offset; x runs to the patient's left (the
//! viewer's right), y towards the head; angles from 12 o'clock, clockwise as the nurse faces the patient. It knows
//! lengths and areas and nothing of findings.

use std::f64::consts::PI;

use thiserror::Error;

/// The stoma as measured on the skin (not its protrusion).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stoma {
    /// Left to right, mm.
    pub width_mm: f64,
    /// Head to foot, mm.
    pub height_mm: f64,
}

/// The adhesive plate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plate {
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Where its centre lies from the stoma's centre, towards the patient's left, mm.
    pub offset_x_mm: f64,
    /// The same towards the head, mm.
    pub offset_y_mm: f64,
}

/// Why there is no skin to measure.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum GeometryError {
    /// A length that is not a number, or a stoma or plate without size.
    #[error("a length is zero, negative or not a number")]
    NoSize,
    /// Part of the stoma lies on or beyond the plate's edge.
    #[error("the stoma reaches {reach_mm:.1} mm from the plate's centre and the plate's edge is at {radius_mm:.1} mm")]
    NotInside {
        /// Farthest point of the stoma from the plate's centre, mm.
        reach_mm: f64,
        /// Radius of the plate, mm.
        radius_mm: f64,
    },
}

/// The hours of the clock, each a sector of 30° centred on its position.
pub const HOURS: u8 = 12;
/// A stoma nearer than this to the plate's edge leaves no skin there to speak of (mm; keeps rounding out of the answer).
const LEAST_GAP_MM: f64 = 1e-6;
/// An offset below this is no offset (mm; keeps a vanishing divisor out of [`Skin::new`]'s check).
const LEAST_OFFSET_MM: f64 = 1e-9;
/// Error allowed in one sector, as a share of all the skin: twelve of them stay far below 0.01 percentage points.
const TOLERANCE: f64 = 1e-8;
/// Halvings after which a piece is taken as it is; reached only by shapes far outside any measured stoma.
const MOST_HALVINGS: u8 = 24;

/// Nodes and weights of Gauss–Legendre quadrature of order 8 on −1…1, positive half.
/// Source: Abramowitz and Stegun, Handbook of Mathematical Functions, table 25.4.
const NODES: [(f64, f64); 4] = [
    (0.183_434_642_495_650, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887),
    (0.796_666_477_413_627, 0.222_381_034_453_374),
    (0.960_289_856_497_536, 0.101_228_536_290_376),
];

/// The skin under the plate: stoma wholly inside it.
#[derive(Clone, Copy, Debug)]
pub struct Skin {
    /// Half the stoma's width and height, mm.
    a: f64,
    b: f64,
    radius: f64,
    x: f64,
    y: f64,
}

/// One sector: ∫ gap · stoma radius and ∫ gap² over its angles, from which the area of every ring follows.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sector {
    inner: f64,
    square: f64,
}

impl Sector {
    /// Area of ring `ring` (1 touches the stoma) of `rings`, mm².
    ///
    /// With the gap g between stoma edge s and plate edge, ring k of n lies between s + g(k−1)/n and s + gk/n;
    /// half the difference of their squares is g/n · (s + g(2k−1)/2n).
    pub fn ring_mm2(self, ring: u8, rings: u8) -> f64 {
        let rings = f64::from(rings);
        let middle = (2.0 * f64::from(ring) - 1.0) / (2.0 * rings);
        (self.inner + middle * self.square) / rings
    }

    fn plus(self, other: Self) -> Self {
        Self { inner: self.inner + other.inner, square: self.square + other.square }
    }
}

impl Skin {
    /// The skin between a stoma and the edge of a plate.
    ///
    /// # Errors
    /// [`GeometryError`]: a length without sense, or a stoma not wholly inside the plate.
    pub fn new(stoma: Stoma, plate: Plate) -> Result<Self, GeometryError> {
        let skin = Self {
            a: stoma.width_mm / 2.0,
            b: stoma.height_mm / 2.0,
            radius: plate.diameter_mm / 2.0,
            x: plate.offset_x_mm,
            y: plate.offset_y_mm,
        };
        let sizes = [skin.a, skin.b, skin.radius];
        if !sizes.iter().all(|size| size.is_finite() && *size > 0.0) || !skin.x.is_finite() || !skin.y.is_finite() {
            return Err(GeometryError::NoSize);
        }
        let reach_mm = skin.reach();
        if reach_mm < skin.radius - LEAST_GAP_MM {
            Ok(skin)
        } else {
            Err(GeometryError::NotInside { reach_mm, radius_mm: skin.radius })
        }
    }

    /// Area of the plate less that of the stoma, mm².
    pub fn area_mm2(&self) -> f64 {
        PI * (self.radius * self.radius - self.a * self.b)
    }

    /// The sector of an hour (12 or 0 is towards the head, 3 towards the patient's left).
    pub fn sector(&self, hour: u8) -> Sector {
        let middle = f64::from(hour) * PI / 6.0;
        let (from, to) = (middle - PI / 12.0, middle + PI / 12.0);
        let tolerance = self.area_mm2() * TOLERANCE;
        self.refine(from, to, self.quadrature(from, to), tolerance, MOST_HALVINGS)
    }

    /// Halves the angle until both halves together agree with the whole.
    fn refine(&self, from: f64, to: f64, whole: Sector, tolerance: f64, halvings: u8) -> Sector {
        let middle = f64::midpoint(from, to);
        let (left, right) = (self.quadrature(from, middle), self.quadrature(middle, to));
        let halves = left.plus(right);
        let difference = (halves.inner - whole.inner).abs() + (halves.square - whole.square).abs();
        if difference <= tolerance || halvings == 0 {
            return halves;
        }
        let left = self.refine(from, middle, left, tolerance / 2.0, halvings - 1);
        left.plus(self.refine(middle, to, right, tolerance / 2.0, halvings - 1))
    }

    fn quadrature(&self, from: f64, to: f64) -> Sector {
        let (middle, half) = (f64::midpoint(from, to), (to - from) / 2.0);
        let mut sum = Sector::default();
        for (node, weight) in NODES {
            for angle in [middle - half * node, middle + half * node] {
                let (stoma, gap) = self.ray(angle);
                sum.inner += weight * half * gap * stoma;
                sum.square += weight * half * gap * gap;
            }
        }
        sum
    }

    /// Along one ray from the stoma's centre: the stoma's edge, and from there the gap to the plate's edge, mm. The
    /// angle runs from the head, clockwise as the nurse faces the patient, in radians.
    pub fn ray(&self, angle: f64) -> (f64, f64) {
        let (east, north) = angle.sin_cos();
        let stoma = 1.0 / (east / self.a).hypot(north / self.b);
        // The root of |r·u − c| = R: along the ray to the point nearest the plate's centre, then half a chord on.
        let along = east * self.x + north * self.y;
        let across = north * self.x - east * self.y;
        let plate = along + ((self.radius - across) * (self.radius + across)).max(0.0).sqrt();
        (stoma, plate - stoma)
    }

    /// Farthest point of the stoma from the plate's centre, mm.
    ///
    /// The squared distance is the least value of λ + x²λ/(λ−a²) + y²λ/(λ−b²) over λ above both squares (the dual of
    /// this one-constraint problem has no gap); its slope rises with λ, so halving finds the place.
    fn reach(&self) -> f64 {
        let (a2, b2) = (self.a * self.a, self.b * self.b);
        let falls = |offset: f64, square: f64, lambda: f64| {
            if offset.abs() < LEAST_OFFSET_MM { 0.0 } else { square * (offset / (lambda - square)).powi(2) }
        };
        let (mut low, mut high) = (a2.max(b2), a2.max(b2) + self.a * self.x.abs() + self.b * self.y.abs());
        for _ in 0..100 {
            let lambda = f64::midpoint(low, high);
            if falls(self.x, a2, lambda) + falls(self.y, b2, lambda) > 1.0 {
                low = lambda;
            } else {
                high = lambda;
            }
        }
        let term = |offset: f64, square: f64| {
            if offset.abs() < LEAST_OFFSET_MM { 0.0 } else { high * offset * offset / (high - square) }
        };
        (high + term(self.x, a2) + term(self.y, b2)).sqrt()
    }
}
