//! Why there is nothing to see.

/// The view cannot be opened or a picture cannot be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ViewError {
    /// There is no display, or it does not answer.
    #[error("there is no display: {0}")]
    NoDisplay(String),
    /// There is no graphics driver.
    #[error("there is no graphics driver: no Vulkan driver was found")]
    NoDriver,
    /// The trace cannot be read.
    #[error("{0}")]
    NoTrace(String),
    /// The trace has no row to show.
    #[error("the trace has no rows: there is nothing to show")]
    Empty,
    /// The renderer gave no picture.
    #[error("the renderer gave no picture of {at_s} s")]
    NoPicture {
        /// The instant, in thousandths of a second.
        at_s: String,
    },
    /// A picture cannot be encoded.
    #[error("the picture cannot be encoded: {0}")]
    Encoding(String),
}

impl ViewError {
    /// What would help, if anything would.
    pub fn help(&self) -> Option<&'static str> {
        match self {
            Self::NoDisplay(_) => Some(
                "`trimproof film` makes the same pictures without a display; or set DISPLAY (on a Wayland desktop, Xwayland does that)",
            ),
            Self::NoDriver => Some(
                "install one: on Debian and Ubuntu `apt-get install mesa-vulkan-drivers libvulkan1`, which also draws without a graphics card",
            ),
            Self::NoTrace(_) | Self::Empty | Self::NoPicture { .. } | Self::Encoding(_) => None,
        }
    }
}
