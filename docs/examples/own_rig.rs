//! Reads a rig file, changes one number as a builder would, and looks at what follows.
//!
//! Run it with `cargo run --example own_rig`.

use trimproof_harness::rig::RigFile;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let text = std::fs::read_to_string("scenarios/rigs/kittiwake.toml")?;
    for rate_n_m_per_rad in ["10.6", "21.2"] {
        let text = text.replacen(
            "rate_n_m_per_rad = 10.6",
            &format!("rate_n_m_per_rad = {rate_n_m_per_rad}"),
            1,
        );
        // An error points at the line and value at fault.
        let rig = RigFile::parse(&text).map_err(|error| error.message)?;
        let radius_m = rig.stick.grip_radius_m;
        let cartridge = rig.pitch.cartridge.cartridge();
        let at_stop_n = cartridge.torque_n_m(rig.pitch.stops.max_deg.to_radians()) / radius_m;
        println!("{rate_n_m_per_rad} N m/rad: {at_stop_n:.1} N at the grip, pitch at its aft stop");
        for note in rig.advice() {
            println!("  {note}");
        }
    }
    Ok(())
}
