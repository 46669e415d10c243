//! Air at a temperature, as far as sheets and gaps need it.

use serde::Serialize;

/// Properties of air at 101.325 kPa.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Air {
    /// Speed of sound, m/s.
    pub speed_m_s: f64,
    /// Density, kg/m3.
    pub density_kg_m3: f64,
    /// Dynamic viscosity, Pa s.
    pub viscosity_pa_s: f64,
}

impl Air {
    /// 20 degrees Celsius: c = 343.2 m/s, rho = 1.2041 kg/m3, eta = 1.813e-5 Pa s.
    pub const AT_20_C: Self =
        Self { speed_m_s: 343.2, density_kg_m3: 1.2041, viscosity_pa_s: 1.813e-5 };

    /// Air at `temperature_c` degrees Celsius.
    ///
    /// Speed of [`crate::air::speed_of_sound_m_s`], density falls as `1 / T`,
    /// viscosity rises as `T^0.76` (power law, from memory, good to 1 % at 0-40 degrees).
    /// Humidity changes the speed by less than 0.4 % and is left out.
    /// Outside -40...60 degrees, or not finite, the values of 20 degrees are returned.
    pub fn at_celsius(temperature_c: f64) -> Self {
        if !(-40.0..=60.0).contains(&temperature_c) {
            return Self::AT_20_C;
        }
        let ratio = (temperature_c + 273.15) / 293.15;
        Self {
            speed_m_s: crate::air::speed_of_sound_m_s(temperature_c),
            density_kg_m3: Self::AT_20_C.density_kg_m3 / ratio,
            viscosity_pa_s: Self::AT_20_C.viscosity_pa_s * ratio.powf(0.76),
        }
    }

    /// Characteristic impedance `rho c`, Pa s/m; 413.25 at 20 degrees.
    pub fn impedance_pa_s_m(&self) -> f64 {
        self.density_kg_m3 * self.speed_m_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speed_follows_iso_9613_1() {
        // 343.2 sqrt(T/293.15): 331.29 m/s at 0 degrees (other dry-air figures 331.2-331.6).
        assert!((Air::at_celsius(0.0).speed_m_s - 331.29).abs() < 0.01);
        assert_eq!(Air::at_celsius(20.0), Air::AT_20_C);
        assert!((Air::AT_20_C.impedance_pa_s_m() - 413.25).abs() < 0.01);
    }

    #[test]
    fn a_senseless_temperature_is_no_temperature() {
        assert_eq!(Air::at_celsius(f64::NAN), Air::AT_20_C);
        assert_eq!(Air::at_celsius(500.0), Air::AT_20_C);
    }
}
