//! Looks before the renderer does whether there is a display and a driver: it would only panic.

use bevy::tasks::block_on;

use crate::ViewError;

/// A connection to the display, to be held while a window is opened.
pub struct Display {
    _connection: x11rb::rust_connection::RustConnection,
}

/// Whether there is a display that answers.
///
/// # Errors
/// None is named, or the one that is named does not answer.
pub fn open_display() -> Result<Display, ViewError> {
    let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    if !set("DISPLAY") {
        return Err(ViewError::NoDisplay("DISPLAY is not set".to_owned()));
    }
    x11rb::connect(None)
        .map(|(connection, _)| Display {
            _connection: connection,
        })
        .map_err(|error| {
            ViewError::NoDisplay(format!(
                "the one that DISPLAY names does not answer, {error}"
            ))
        })
}

/// What draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GraphicsDriver {
    /// A graphics card.
    Card,
    /// The processor: it takes its time.
    Processor,
}

/// Looks for a driver that can draw.
///
/// # Errors
/// None was found.
pub fn find_driver() -> Result<GraphicsDriver, ViewError> {
    let instance = wgpu::Instance::new(wgpu::InstanceDescriptor {
        backends: wgpu::Backends::PRIMARY,
        ..wgpu::InstanceDescriptor::new_without_display_handle()
    });
    let found = block_on(instance.enumerate_adapters(wgpu::Backends::PRIMARY));
    if found.is_empty() {
        return Err(ViewError::NoDriver);
    }
    let is_card = |adapter: &wgpu::Adapter| adapter.get_info().device_type != wgpu::DeviceType::Cpu;
    Ok(if found.iter().any(is_card) {
        GraphicsDriver::Card
    } else {
        GraphicsDriver::Processor
    })
}
