"""The usual cautions and the order of work, in the words that go on sheets.

Common practice of the trade, no source. Film makers' and vehicle makers' instructions, local
rules and licensed practice go first, and the sheets say so.
"""

DEFER = (
    "The film maker's and the vehicle maker's instructions, local rules and licensed practice go "
    "before anything that this sheet says."
)

LAYING = (
    (
        "Tack solution gives off alcohol vapour: open the door or run the extraction, no flame, no "
        "sparks, no hot air until it has dried off."
    ),
    "Hot-air tools burn skin, paint and film: keep them moving, keep them off wet alcohol.",
    "Never cut on paint. Blades away from hands; used blades into the tin.",
    "Wet floor: chock the car, lay mats, keep hands from under a raised car.",
    "Lamps and pumps near water only on a circuit with residual-current protection.",
    (
        "Leave cameras, radar, lidar and parking sensors free unless the vehicle maker allows film "
        "there. Nobody drives before mirrors, lamps and sensors have been checked."
    ),
    DEFER,
)

WEEDING = (
    "Cut away from hands. A dropped knife falls by itself: step back.",
    "Blades that are done go into the tin, not into the waste film.",
    "Keep liquids off the lit table and its lead.",
    DEFER,
)

CUTTING = (
    (
        "The head starts without a word and comes back by itself: hands, hair, sleeves and tools "
        "stay away from it and from the rollers until it has stopped."
    ),
    (
        "Change blades with the machine off, cut away from hands, and put used blades into the "
        "tin. Never cut on paint."
    ),
    (
        "Begin with little force. The blade parts the film and scores the liner's surface; it "
        "never goes through it, or it cuts the machine's strip."
    ),
    (
        "The machine maker's and the film maker's instructions and local rules go before anything "
        "that this sheet says."
    ),
)
"""What to mind at the plotter; common practice, no source."""

CUSTOMER = (
    (
        "A repainted panel may lose paint when film is lifted. Tell us what has been "
        "repainted; fresh "
        "paint must have hardened first, and the painter says when."
    ),
    (
        "Small water pockets and some haze may show for up to a month and clear by "
        "themselves. Air and "
        "dirt do not clear: we mend them."
    ),
    "A place that is left free for a sensor, a camera or an emblem stays unprotected.",
    "Care: no washing for a week, no pressure lance at edges, no solvent.",
    "Film protects paint from chips and scratches; it does not mend what lies under it.",
)

ORDER = (
    (
        "Wash without touching",
        "Rinse, foam, let it dwell, rinse by pressure: grit that is dragged makes swirls.",
    ),
    (
        "Take iron, tar and glue spots off",
        (
            "It must come before film: afterwards nobody can get at "
            "it. Out of the sun, never let it dry on paint, gloves, goggles, air. Sensitive "
            "brakes are "
            "washed with a mild agent and covered first."
        ),
    ),
    (
        "Contact wash",
        (
            "Clean mitt, straight lines, two containers. What falls on the floor leaves "
            "the job until laundered."
        ),
    ),
    (
        "Dry and wipe",
        (
            "Do not rub. Blow out gaps, emblems and mirrors; panel wipe. Whatever stays "
            "under film stays for years."
        ),
    ),
    ("Check the pieces", "Numbers against this sheet, film at room temperature, edges clean."),
    (
        "Anchor, pull, squeeze out",
        (
            "Peel while wetting the glue side. Slip so that nothing bites "
            "yet; tack where it must hold. Strokes overlap, from the anchor outwards. Warm "
            "for corners, "
            "never force. Two people for large pieces."
        ),
    ),
    ("Wraps last", "They go round when the flat has set, often after 20 to 40 minutes."),
)

AFTER = (
    ("Rest overnight indoors", "Glue needs the night. No draught, no dust."),
    ("Heat the edges on the next day", "Lay down what lifted; look at every corner."),
    ("Coating, if any, goes on top of film", "Never under it."),
)

INSPECT = (
    "People overlook their own faults. Strong light from the side, close up, every edge and every "
    "corner; whether a fault matters is judged in daylight from about 1 to 1.5 m. Haze and small "
    "water pockets are noted, not counted. An agreed seam or relief is no fault."
)

CLIMATE = "18–25 °C, 40–60 % relative humidity, no draught, clean. Common practice."
SLIP = "3–8 ml mild shampoo in 1 litre of distilled water; more when it is warm. Common practice."
TACK = (
    "100–250 ml isopropyl alcohol made up to 1 litre with distilled water (10–25 %). Ventilate. "
    "Common practice."
)

CARE = (
    (
        "The first week",
        (
            "No washing, no rain-soaked cover, no polishing. Do not press, pull or scratch at "
            "edges. Park out of frost and dust where you can: the glue is still setting."
        ),
    ),
    (
        "The first month",
        (
            "Small water pockets and a slight haze may show and clear by themselves. Do not prick "
            "or press them. Air and dirt do not clear: call us, we mend them."
        ),
    ),
    (
        "Washing",
        (
            "By hand with plenty of water, a mild shampoo and a clean mitt, two containers, out "
            "of the sun. A pressure lance stays half a metre away and never points at an edge."
        ),
    ),
    (
        "Spots",
        (
            "Insects, tar, bird lime and tree sap come off the same day: soak them with water and "
            "mild shampoo, do not rub. Try any remover on a hidden place first."
        ),
    ),
    (
        "Never",
        (
            "No solvents, no fuel, no abrasive polish or pad, no hot wax, no brushes of a car "
            "wash in the first month, no stickers on the film. Do not lift it yourself: paint may "
            "come off with it."
        ),
    ),
    (
        "Sensors",
        (
            "Cameras, radar and parking sensors are left free unless the passport says otherwise. "
            "Heed what the car tells you about them, and have a warning looked at before you "
            "drive on."
        ),
    ),
    (
        "If something happens",
        (
            "A lifted edge, a deep scratch or a stone chip: leave it as it is, keep water from "
            "it, and come by. A repaint under film needs the film off first."
        ),
    ),
)
"""What the customer is told of care when the car goes; common practice, no source."""

PASSPORT = (
    (
        "Film over a camera, radar, lidar or parking sensor can blind it: where film lies over "
        "one, the reason stands in this passport. Have mirrors, lamps and sensors checked before "
        "driving."
    ),
    "Film protects paint from chips and scratches; it does not mend what lies under it.",
    "Lifting film can lift paint, above all where it was repainted: leave it to a workshop.",
)
