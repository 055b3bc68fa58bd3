//! Which panels a picture has, and where they lie.

/// A panel of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Panel {
    /// Crank speed with its interval.
    Speed,
    /// Lines by frequency, with the speed that was read over them.
    Hertz,
    /// Lines by engine order.
    Orders,
    /// The kind of firing.
    Firing,
    /// Share of turns without a full firing.
    Skips,
    /// Level.
    Level,
    /// Clipped samples.
    Clipping,
}

/// Sizes in units: pixels of an SVG at its own size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Layout {
    pub(super) width: f64,
    /// Height of the letters.
    pub(super) letters: f64,
    /// From the edges to the plots.
    pub(super) left: f64,
    pub(super) right: f64,
    /// Height of the title.
    pub(super) title: f64,
    /// Height of the heading of a panel, with the gap above it.
    pub(super) heading: f64,
    /// Panels with their heights.
    pub(super) panels: &'static [(Panel, f64)],
    /// Highest engine order.
    pub(super) orders: f64,
    /// Height of the time axis.
    pub(super) times: f64,
    /// Whether it explains itself.
    pub(super) explained: bool,
}

impl Layout {
    /// With everything.
    pub(super) const WHOLE: Layout = Layout {
        width: 1_120.0,
        letters: 14.0,
        left: 104.0,
        right: 126.0,
        title: 70.0,
        heading: 33.0,
        panels: &[
            (Panel::Speed, 190.0),
            (Panel::Hertz, 200.0),
            (Panel::Orders, 230.0),
            (Panel::Firing, 90.0),
            (Panel::Skips, 54.0),
            (Panel::Level, 72.0),
            (Panel::Clipping, 40.0),
        ],
        orders: 5.0,
        times: 34.0,
        explained: true,
    };

    /// What has to be seen on a job sheet.
    pub(super) const SHEET: Layout = Layout {
        width: 860.0,
        letters: 24.0,
        left: 172.0,
        right: 18.0,
        title: 0.0,
        heading: 48.0,
        panels: &[
            (Panel::Speed, 118.0),
            (Panel::Orders, 112.0),
            (Panel::Firing, 122.0),
        ],
        orders: 3.0,
        times: 54.0,
        explained: false,
    };

    pub(super) const fn height(&self) -> f64 {
        let mut height = self.title + self.times;
        let mut at = 0;
        while at < self.panels.len() {
            height += self.heading + self.panels[at].1;
            at += 1;
        }
        height
    }
}
