//! A set of invented lenses.

/// Folder and arguments of each.
pub const SET: [(&str, &[&str]); 6] = [
    ("single_vision", &["--lens", "-3.00", "--index", "1.6"]),
    ("toric_prism", &["--lens", "-2.25 -1.50 x 035", "--prism", "1.50 @ 90", "--missing", "2"]),
    ("progressive_distance", &["--lens", "+1.00 -0.50 x 170", "--form", "progressive", "--at", "0,8"]),
    ("progressive_near", &["--lens", "+1.00 -0.50 x 170", "--form", "progressive", "--at", "0,-14"]),
    ("bifocal_edge", &["--lens", "+0.50", "--form", "straight-top-bifocal", "--at", "0,-5"]),
    (
        "poor_light",
        &[
            "--lens",
            "+4.00 -1.00 x 090",
            "--bits",
            "10",
            "--slope",
            "0.04,0.03",
            "--profile",
            "airy",
            "--missing",
            "3",
            "--dusty",
            "3",
            "--saturated",
            "2",
            "--ghosts",
            "4",
            "--glints",
            "5",
            "--hot",
            "6",
            "--ink",
            "7",
        ],
    ),
];
