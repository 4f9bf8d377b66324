//! The serial ports of this machine.

use crate::error::LinkError;

/// A port that a board may be behind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// Name, as `port:NAME` takes it.
    pub name: String,
    /// What the system knows of it; empty if nothing.
    pub about: String,
}

/// Serial ports of this machine, sorted by name.
///
/// # Errors
/// The system does not list them.
#[cfg(feature = "serial")]
pub fn ports() -> Result<Vec<Candidate>, LinkError> {
    use serialport::SerialPortType;
    let found = serialport::available_ports().map_err(|error| LinkError::NoList {
        why: error.to_string(),
    })?;
    let mut found: Vec<Candidate> = found
        .into_iter()
        .map(|port| Candidate {
            name: port.port_name,
            about: match port.port_type {
                SerialPortType::UsbPort(usb) => {
                    let words = [usb.manufacturer, usb.product].into_iter().flatten();
                    let words: Vec<String> = words.collect();
                    format!("USB {:04x}:{:04x} {}", usb.vid, usb.pid, words.join(" "))
                        .trim_end()
                        .to_owned()
                }
                SerialPortType::BluetoothPort => "Bluetooth".to_owned(),
                SerialPortType::PciPort => "built in".to_owned(),
                SerialPortType::Unknown => String::new(),
            },
        })
        .collect();
    found.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(found)
}

/// Serial ports of this machine: this build has none.
///
/// # Errors
/// Always.
#[cfg(not(feature = "serial"))]
pub fn ports() -> Result<Vec<Candidate>, LinkError> {
    Err(LinkError::NoSerial)
}
