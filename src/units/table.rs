//! The table of units: how each is written, what it measures and how large it is.
//!
//! Sizes are exact fractions of the coherent SI unit. They come from NIST Special Publication 811 (2008), appendix B.8 and B.9;
//! where it prints a rounded factor, the exact definition behind it stands here (the pound-force per square inch from the pound
//! and the standard acceleration of free fall; mercury and water columns from the conventional densities 13 595.1 and 1000 kg/m³).
//! Names are the symbols of the SI brochure, then common spellings, SenML names (RFC 8428 section 12.1, RFC 8798) and UCUM codes.

use std::f64::consts::PI;

use super::dimension::Dimension;
use super::ratio::Ratio;
use super::unit::{Kind, Reference, Unit};

/// The units of one quantity.
pub(super) struct Group {
    /// The quantity in words.
    quantity: &'static str,
    dimension: Dimension,
    pub(super) rows: &'static [Row],
}

/// One unit.
pub(super) struct Row {
    /// How this project writes it.
    pub(super) symbol: &'static str,
    /// How else it is written.
    pub(super) also: &'static [&'static str],
    ratio: Ratio,
    kind: Kind,
}

/// A unit of amounts and differences; one is `numerator / denominator` of the coherent unit.
const fn plain(symbol: &'static str, also: &'static [&'static str], numerator: f64, denominator: f64) -> Row {
    Row { symbol, also, ratio: Ratio::new(numerator, denominator), kind: Kind::Plain }
}

/// A unit of points: one step is `ratio` of the coherent unit, and the reference's zero reads `zero` hundredths.
const fn point(
    symbol: &'static str,
    also: &'static [&'static str],
    ratio: Ratio,
    reference: Reference,
    zero: i32,
) -> Row {
    Row { symbol, also, ratio, kind: Kind::Point { reference, zero } }
}

/// A difference of temperatures, in the steps of a scale; its symbol is the scale's.
const fn difference(symbol: &'static str, also: &'static [&'static str], ratio: Ratio) -> Row {
    Row { symbol, also, ratio, kind: Kind::Plain }
}

impl Row {
    pub(super) const fn unit(&self, dimension: Dimension) -> Unit {
        Unit { symbol: self.symbol, dimension, ratio: self.ratio, kind: self.kind }
    }
}

impl Group {
    /// The units of the group with all their spellings.
    pub(super) fn units(&self) -> impl Iterator<Item = (&'static Row, Unit)> {
        self.rows.iter().map(|row| (row, row.unit(self.dimension)))
    }
}

/// All units, in the table's order.
pub(super) fn units() -> impl Iterator<Item = Unit> {
    GROUPS.iter().flat_map(Group::units).map(|(_, unit)| unit)
}

/// The quantity of a dimension in words.
pub(super) fn quantity(dimension: Dimension) -> Option<&'static str> {
    GROUPS.iter().find(|group| group.dimension == dimension).map(|group| group.quantity)
}

/// The dimension with these powers, spelled as products and quotients of base dimensions.
#[expect(clippy::panic, reason = "the tables are built at compile time, where this stops the build")]
const fn of(above: &[Dimension], below: &[Dimension]) -> Dimension {
    let mut all = Dimension::RATIO;
    let mut index = 0;
    while index < above.len() {
        all = match all.times(above[index]) {
            Some(dimension) => dimension,
            None => panic!("a power is too high"),
        };
        index += 1;
    }
    index = 0;
    while index < below.len() {
        all = match all.over(below[index]) {
            Some(dimension) => dimension,
            None => panic!("a power is too low"),
        };
        index += 1;
    }
    all
}

const LENGTH: Dimension = Dimension::LENGTH;
const MASS: Dimension = Dimension::MASS;
const TIME: Dimension = Dimension::TIME;
const CURRENT: Dimension = Dimension::CURRENT;
const TEMPERATURE: Dimension = Dimension::TEMPERATURE;
const AREA: Dimension = of(&[LENGTH, LENGTH], &[]);
const VOLUME: Dimension = of(&[AREA, LENGTH], &[]);
const SPEED: Dimension = of(&[LENGTH], &[TIME]);
const ACCELERATION: Dimension = of(&[SPEED], &[TIME]);
const FORCE: Dimension = of(&[MASS, ACCELERATION], &[]);
const PRESSURE: Dimension = of(&[FORCE], &[AREA]);
const ENERGY: Dimension = of(&[FORCE, LENGTH], &[]);
const POWER: Dimension = of(&[ENERGY], &[TIME]);
const CHARGE: Dimension = of(&[CURRENT, TIME], &[]);
const VOLTAGE: Dimension = of(&[POWER], &[CURRENT]);
const RESISTANCE: Dimension = of(&[VOLTAGE], &[CURRENT]);
const CONDUCTANCE: Dimension = of(&[CURRENT], &[VOLTAGE]);
const FREQUENCY: Dimension = of(&[], &[TIME]);
const DENSITY: Dimension = of(&[MASS], &[VOLUME]);
const MAGNETIC_FLUX: Dimension = of(&[VOLTAGE, TIME], &[]);

const KELVIN: Ratio = Ratio::ONE;
const FAHRENHEIT: Ratio = Ratio::new(5.0, 9.0);
const DECIBEL: Ratio = Ratio::ONE;
const BEL: Ratio = Ratio::new(10.0, 1.0);

/// The table. The first unit of a size in a group is the one that a product or quotient is given in.
pub(super) static GROUPS: &[Group] = &[
    Group {
        quantity: "temperature",
        dimension: TEMPERATURE,
        rows: &[
            point("K", &["kelvin"], KELVIN, Reference::AbsoluteZero, 0),
            point("°C", &["Cel", "degC", "℃", "celsius"], KELVIN, Reference::AbsoluteZero, -27315),
            point("°F", &["degF", "[degF]", "℉", "fahrenheit"], FAHRENHEIT, Reference::AbsoluteZero, -45967),
            difference("K", &["ΔK"], KELVIN),
            difference("°C", &["Δ°C"], KELVIN),
            difference("°F", &["Δ°F"], FAHRENHEIT),
        ],
    },
    Group {
        quantity: "ratio",
        dimension: Dimension::RATIO,
        rows: &[
            plain("%", &["percent", "%RH", "%EL", "/100"], 1.0, 100.0),
            plain("g/kg", &[], 1.0, 1e3),
            plain("‰", &["[ppth]"], 1.0, 1e3),
            plain("ppm", &["[ppm]"], 1.0, 1e6),
            plain("ppb", &["[ppb]"], 1.0, 1e9),
            plain("ppt", &["[pptr]"], 1.0, 1e12),
            plain("mg/kg", &[], 1.0, 1e6),
            plain("µg/kg", &["ug/kg"], 1.0, 1e9),
            point("pH", &["[pH]"], Ratio::ONE, Reference::Acidity, 0),
        ],
    },
    Group {
        quantity: "pressure",
        dimension: PRESSURE,
        rows: &[
            plain("Pa", &[], 1.0, 1.0),
            plain("hPa", &[], 1e2, 1.0),
            plain("kPa", &[], 1e3, 1.0),
            plain("MPa", &[], 1e6, 1.0),
            plain("mbar", &[], 1e2, 1.0),
            plain("bar", &[], 1e5, 1.0),
            plain("atm", &[], 101_325.0, 1.0),
            plain("psi", &["[psi]"], 8_896_443_230_521.0, 1_290_320_000.0),
            plain("inHg", &["[in_i'Hg]"], 3_386_388_640_341.0, 1e9),
            plain("mmHg", &["mm[Hg]"], 133_322_387_415.0, 1e9),
            plain("inH₂O", &["inH2O", "[in_i'H2O]"], 24_908_891.0, 1e5),
            plain("mmH₂O", &["mmH2O", "mm[H2O]"], 980_665.0, 1e5),
        ],
    },
    Group {
        quantity: "speed",
        dimension: SPEED,
        rows: &[
            plain("m/s", &[], 1.0, 1.0),
            plain("km/h", &["kph"], 1000.0, 3600.0),
            plain("kn", &["kt", "[kn_i]"], 1852.0, 3600.0),
            plain("mph", &["mi/h", "[mi_i]/h"], 1_609_344.0, 3_600_000.0),
            plain("ft/s", &["[ft_i]/s"], 3048.0, 1e4),
            plain("mm/s", &[], 1.0, 1e3),
            plain("mm/h", &[], 1.0, 3_600_000.0),
            plain("in/h", &["[in_i]/h"], 254.0, 36_000_000.0),
        ],
    },
    Group { quantity: "acceleration", dimension: ACCELERATION, rows: &[plain("m/s²", &["m/s2"], 1.0, 1.0)] },
    Group {
        quantity: "length",
        dimension: LENGTH,
        rows: &[
            plain("m", &[], 1.0, 1.0),
            plain("km", &[], 1e3, 1.0),
            plain("cm", &[], 1.0, 1e2),
            plain("mm", &[], 1.0, 1e3),
            plain("µm", &["um"], 1.0, 1e6),
            plain("in", &["[in_i]"], 254.0, 1e4),
            plain("ft", &["[ft_i]"], 3048.0, 1e4),
            plain("yd", &["[yd_i]"], 9144.0, 1e4),
            plain("mi", &["[mi_i]"], 1_609_344.0, 1e3),
            plain("nmi", &["[nmi_i]"], 1852.0, 1.0),
        ],
    },
    Group {
        quantity: "area",
        dimension: AREA,
        rows: &[
            plain("m²", &["m2"], 1.0, 1.0),
            plain("km²", &["km2"], 1e6, 1.0),
            plain("cm²", &["cm2"], 1.0, 1e4),
            plain("mm²", &["mm2"], 1.0, 1e6),
            plain("ha", &["har"], 1e4, 1.0),
            plain("ft²", &["ft2", "[sft_i]"], 9_290_304.0, 1e8),
        ],
    },
    Group {
        quantity: "volume",
        dimension: VOLUME,
        rows: &[
            plain("m³", &["m3"], 1.0, 1.0),
            plain("L", &["l"], 1.0, 1e3),
            plain("hL", &["hl"], 1.0, 10.0),
            plain("dL", &["dl"], 1.0, 1e4),
            plain("cL", &["cl"], 1.0, 1e5),
            plain("mL", &["ml"], 1.0, 1e6),
            plain("cm³", &["cm3"], 1.0, 1e6),
            plain("ft³", &["ft3", "[cft_i]"], 28_316_846_592.0, 1e12),
            // The United States gallon of 231 cubic inches; the imperial one is another size and has no name here.
            plain("gal", &["[gal_us]"], 3_785_411_784.0, 1e12),
        ],
    },
    Group {
        quantity: "flow rate",
        dimension: of(&[VOLUME], &[TIME]),
        rows: &[
            plain("m³/s", &["m3/s"], 1.0, 1.0),
            plain("m³/h", &["m3/h"], 1.0, 3600.0),
            plain("L/s", &["l/s"], 1.0, 1e3),
            plain("L/min", &["l/min"], 1.0, 60_000.0),
            plain("L/h", &["l/h"], 1.0, 3_600_000.0),
            plain("mL/min", &["ml/min"], 1.0, 60_000_000.0),
            plain("gal/min", &["gpm", "[gal_us]/min"], 3_785_411_784.0, 60e12),
            plain("ft³/min", &["ft3/min", "cfm", "[cft_i]/min"], 28_316_846_592.0, 60e12),
        ],
    },
    Group {
        quantity: "mass",
        dimension: MASS,
        rows: &[
            plain("kg", &[], 1.0, 1.0),
            plain("g", &[], 1.0, 1e3),
            plain("mg", &[], 1.0, 1e6),
            plain("µg", &["ug"], 1.0, 1e9),
            plain("t", &[], 1e3, 1.0),
            plain("lb", &["[lb_av]"], 45_359_237.0, 1e8),
            plain("oz", &["[oz_av]"], 28_349_523_125.0, 1e12),
        ],
    },
    Group {
        quantity: "mass flow rate",
        dimension: of(&[MASS], &[TIME]),
        rows: &[
            plain("kg/s", &[], 1.0, 1.0),
            plain("kg/h", &[], 1.0, 3600.0),
            plain("g/s", &[], 1.0, 1e3),
            plain("g/h", &[], 1.0, 3_600_000.0),
        ],
    },
    Group {
        quantity: "mass concentration",
        dimension: DENSITY,
        rows: &[
            plain("kg/m³", &["kg/m3"], 1.0, 1.0),
            plain("g/m³", &["g/m3"], 1.0, 1e3),
            plain("mg/m³", &["mg/m3"], 1.0, 1e6),
            plain("µg/m³", &["ug/m3"], 1.0, 1e9),
            plain("g/L", &["g/l"], 1.0, 1.0),
            plain("mg/L", &["mg/l"], 1.0, 1e3),
            plain("µg/L", &["ug/L", "µg/l", "ug/l"], 1.0, 1e6),
            plain("g/cm³", &["g/cm3", "g/mL"], 1e3, 1.0),
        ],
    },
    Group {
        quantity: "time",
        dimension: TIME,
        rows: &[
            plain("s", &["EL"], 1.0, 1.0),
            plain("ms", &[], 1.0, 1e3),
            plain("µs", &["us"], 1.0, 1e6),
            plain("min", &[], 60.0, 1.0),
            plain("h", &[], 3600.0, 1.0),
            plain("d", &["day"], 86_400.0, 1.0),
            plain("wk", &["week"], 604_800.0, 1.0),
        ],
    },
    Group {
        quantity: "frequency",
        dimension: FREQUENCY,
        rows: &[
            plain("1/s", &["/s"], 1.0, 1.0),
            plain("Hz", &[], 1.0, 1.0),
            plain("kHz", &[], 1e3, 1.0),
            plain("MHz", &[], 1e6, 1.0),
            plain("GHz", &[], 1e9, 1.0),
            plain("1/min", &["/min", "rpm", "beat/min"], 1.0, 60.0),
            plain("1/h", &["/h"], 1.0, 3600.0),
            plain("Bq", &[], 1.0, 1.0),
        ],
    },
    Group {
        quantity: "power",
        dimension: POWER,
        rows: &[
            plain("W", &[], 1.0, 1.0),
            plain("mW", &[], 1.0, 1e3),
            plain("kW", &[], 1e3, 1.0),
            plain("MW", &[], 1e6, 1.0),
            plain("VA", &["V.A"], 1.0, 1.0),
            plain("kVA", &["kV.A"], 1e3, 1.0),
            plain("var", &[], 1.0, 1.0),
            plain("kvar", &[], 1e3, 1.0),
            plain("Btu/h", &["BTU/h", "[Btu_IT]/h"], 105_505_585_262.0, 3600e8),
        ],
    },
    Group {
        quantity: "energy",
        dimension: ENERGY,
        rows: &[
            plain("J", &["N·m", "N.m"], 1.0, 1.0),
            plain("kJ", &[], 1e3, 1.0),
            plain("MJ", &[], 1e6, 1.0),
            plain("Wh", &["W·h", "W.h"], 3600.0, 1.0),
            plain("kWh", &["kW·h", "kW.h"], 3.6e6, 1.0),
            plain("MWh", &["MW·h", "MW.h"], 3.6e9, 1.0),
            plain("VAs", &["V.A.s"], 1.0, 1.0),
            plain("kVAh", &["kV.A.h"], 3.6e6, 1.0),
            plain("vars", &[], 1.0, 1.0),
            plain("varh", &[], 3600.0, 1.0),
            plain("kvarh", &[], 3.6e6, 1.0),
            plain("Btu", &["BTU", "[Btu_IT]"], 105_505_585_262.0, 1e8),
        ],
    },
    Group {
        quantity: "force or energy per distance",
        dimension: FORCE,
        rows: &[
            plain("N", &[], 1.0, 1.0),
            plain("kN", &[], 1e3, 1.0),
            plain("J/m", &[], 1.0, 1.0),
            plain("Wh/km", &["W.h/km"], 18.0, 5.0),
        ],
    },
    Group {
        quantity: "irradiance",
        dimension: of(&[POWER], &[AREA]),
        rows: &[plain("W/m²", &["W/m2"], 1.0, 1.0), plain("kW/m²", &["kW/m2"], 1e3, 1.0)],
    },
    Group {
        quantity: "energy per area",
        dimension: of(&[ENERGY], &[AREA]),
        rows: &[
            plain("J/m²", &["J/m2"], 1.0, 1.0),
            plain("Wh/m²", &["Wh/m2", "W.h/m2"], 3600.0, 1.0),
            plain("kWh/m²", &["kWh/m2", "kW.h/m2"], 3.6e6, 1.0),
        ],
    },
    Group { quantity: "heat capacity", dimension: of(&[ENERGY], &[TEMPERATURE]), rows: &[plain("J/K", &[], 1.0, 1.0)] },
    Group {
        quantity: "specific energy",
        dimension: of(&[ENERGY], &[MASS]),
        rows: &[
            plain("J/kg", &[], 1.0, 1.0),
            plain("kJ/kg", &[], 1e3, 1.0),
            plain("Gy", &[], 1.0, 1.0),
            plain("Sv", &[], 1.0, 1.0),
            plain("mSv", &[], 1.0, 1e3),
            plain("µSv", &["uSv"], 1.0, 1e6),
        ],
    },
    Group {
        quantity: "dose rate",
        dimension: of(&[ENERGY], &[MASS, TIME]),
        rows: &[plain("Sv/h", &[], 1.0, 3600.0), plain("µSv/h", &["uSv/h"], 1.0, 3.6e9)],
    },
    Group {
        quantity: "activity concentration",
        dimension: of(&[FREQUENCY], &[VOLUME]),
        rows: &[plain("Bq/m³", &["Bq/m3"], 1.0, 1.0)],
    },
    Group {
        quantity: "voltage",
        dimension: VOLTAGE,
        rows: &[plain("V", &[], 1.0, 1.0), plain("mV", &[], 1.0, 1e3), plain("kV", &[], 1e3, 1.0)],
    },
    Group {
        quantity: "current",
        dimension: CURRENT,
        rows: &[plain("A", &[], 1.0, 1.0), plain("mA", &[], 1.0, 1e3), plain("µA", &["uA"], 1.0, 1e6)],
    },
    Group {
        quantity: "electric charge",
        dimension: CHARGE,
        // The coulomb is not written `C` here: beside temperatures that would be read as degrees.
        rows: &[
            plain("A·s", &["As", "A.s", "coulomb"], 1.0, 1.0),
            plain("Ah", &["A·h", "A.h"], 3600.0, 1.0),
            plain("mAh", &["mA·h", "mA.h"], 18.0, 5.0),
        ],
    },
    Group {
        quantity: "resistance",
        dimension: RESISTANCE,
        rows: &[
            plain("Ω", &["Ohm", "ohm"], 1.0, 1.0),
            plain("kΩ", &["kOhm"], 1e3, 1.0),
            plain("MΩ", &["MOhm"], 1e6, 1.0),
        ],
    },
    Group { quantity: "conductance", dimension: CONDUCTANCE, rows: &[plain("S", &[], 1.0, 1.0)] },
    Group {
        quantity: "conductivity",
        dimension: of(&[CONDUCTANCE], &[LENGTH]),
        rows: &[plain("S/m", &[], 1.0, 1.0), plain("mS/cm", &[], 1.0, 10.0), plain("µS/cm", &["uS/cm"], 1.0, 1e4)],
    },
    Group {
        quantity: "capacitance",
        dimension: of(&[CHARGE], &[VOLTAGE]),
        // Not written `F`: beside temperatures that would be read as degrees.
        rows: &[
            plain("A·s/V", &["farad", "C/V"], 1.0, 1.0),
            plain("µF", &["uF"], 1.0, 1e6),
            plain("nF", &[], 1.0, 1e9),
            plain("pF", &[], 1.0, 1e12),
        ],
    },
    Group { quantity: "magnetic flux", dimension: MAGNETIC_FLUX, rows: &[plain("Wb", &[], 1.0, 1.0)] },
    Group {
        quantity: "magnetic flux density",
        dimension: of(&[MAGNETIC_FLUX], &[AREA]),
        rows: &[plain("T", &[], 1.0, 1.0), plain("µT", &["uT"], 1.0, 1e6)],
    },
    Group { quantity: "inductance", dimension: of(&[MAGNETIC_FLUX], &[CURRENT]), rows: &[plain("H", &[], 1.0, 1.0)] },
    Group {
        quantity: "illuminance",
        dimension: of(&[Dimension::LUMINOUS_INTENSITY], &[AREA]),
        // A lumen is a candela over a steradian, and the steradian counts as a plain number here, as in the SI.
        rows: &[plain("lx", &["lux"], 1.0, 1.0), plain("klx", &[], 1e3, 1.0), plain("cd/m²", &["cd/m2"], 1.0, 1.0)],
    },
    Group {
        quantity: "luminous intensity or flux",
        dimension: Dimension::LUMINOUS_INTENSITY,
        rows: &[plain("cd", &[], 1.0, 1.0), plain("lm", &[], 1.0, 1.0)],
    },
    Group {
        quantity: "angle",
        dimension: Dimension::ANGLE,
        rows: &[plain("rad", &[], 1.0, 1.0), plain("°", &["deg", "lat", "lon"], PI, 180.0)],
    },
    Group {
        quantity: "amount of substance",
        dimension: Dimension::AMOUNT,
        rows: &[plain("mol", &[], 1.0, 1.0), plain("mmol", &[], 1.0, 1e3)],
    },
    Group {
        quantity: "catalytic activity",
        dimension: of(&[Dimension::AMOUNT], &[TIME]),
        rows: &[plain("kat", &[], 1.0, 1.0)],
    },
    Group {
        quantity: "photon flux density",
        dimension: of(&[Dimension::AMOUNT], &[AREA, TIME]),
        rows: &[plain("µmol/(m²·s)", &["umol/m2/s", "umol/(m2.s)"], 1.0, 1e6)],
    },
    Group {
        quantity: "information",
        dimension: Dimension::INFORMATION,
        rows: &[
            plain("bit", &[], 1.0, 1.0),
            plain("B", &["By"], 8.0, 1.0),
            plain("kB", &["kBy"], 8e3, 1.0),
            plain("MB", &["MBy"], 8e6, 1.0),
            plain("GB", &["GBy"], 8e9, 1.0),
            plain("KiB", &["KiBy"], 8192.0, 1.0),
            plain("MiB", &["MiBy"], 8_388_608.0, 1.0),
            plain("GiB", &["GiBy"], 8_589_934_592.0, 1.0),
        ],
    },
    Group {
        quantity: "data rate",
        dimension: of(&[Dimension::INFORMATION], &[TIME]),
        rows: &[
            plain("bit/s", &[], 1.0, 1.0),
            plain("kbit/s", &[], 1e3, 1.0),
            plain("Mbit/s", &[], 1e6, 1.0),
            plain("B/s", &["By/s"], 8.0, 1.0),
        ],
    },
    Group {
        quantity: "level",
        dimension: Dimension::LEVEL,
        rows: &[
            plain("dB", &[], 1.0, 1.0),
            point("dBm", &[], DECIBEL, Reference::Watt, 3000),
            point("dBW", &[], DECIBEL, Reference::Watt, 0),
            point("dBA", &["dB(A)"], DECIBEL, Reference::WeightedSoundPressure, 0),
            point("dB SPL", &["dBSPL", "dB[SPL]"], DECIBEL, Reference::SoundPressure, 0),
            point("B SPL", &["Bspl", "B[SPL]"], BEL, Reference::SoundPressure, 0),
        ],
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_spelling_has_two_meanings() {
        let mut seen = std::collections::BTreeMap::new();
        for (row, unit) in GROUPS.iter().flat_map(Group::units) {
            // The differences of temperature bear the symbol of their points, and are found by their other names only.
            let symbol = (unit.dimension != TEMPERATURE || unit.is_point()).then_some(&row.symbol);
            for name in symbol.into_iter().chain(row.also) {
                assert_eq!(seen.insert(*name, unit), None, "{name} is written for two units");
            }
        }
        assert!(seen.len() > 250, "{}", seen.len());
    }

    #[test]
    fn each_quantity_has_one_group_with_its_coherent_unit() {
        for (place, group) in GROUPS.iter().enumerate() {
            assert!(GROUPS[..place].iter().all(|other| other.dimension != group.dimension), "{}", group.quantity);
        }
    }
}
