package thermocouple

// tableK is type K, nickel-chromium against nickel-aluminium: the usual couple of an electric
// kiln. From 0 °C up the function has an exponential of its own besides the polynomial. The
// publisher's summary of IEC 60584-1:2013 ends type K at 1300 °C; NIST goes to 1372 °C, and so
// do we.
//
// Source: NIST Standard Reference Database 60, ITS-90 Thermocouple Database (functions of NIST
// Monograph 175, 1993), type K, digits as printed there. The last row of limits is reckoned from them.
var tableK = table{
	forward: []polynomial{ // °C to mV
		{low: -270, high: 0, of: []float64{
			0.000000000000e+00,
			0.394501280250e-01,
			0.236223735980e-04,
			-0.328589067840e-06,
			-0.499048287770e-08,
			-0.675090591730e-10,
			-0.574103274280e-12,
			-0.310888728940e-14,
			-0.104516093650e-16,
			-0.198892668780e-19,
			-0.163226974860e-22,
		}},
		{low: 0, high: 1372, of: []float64{
			-0.176004136860e-01,
			0.389212049750e-01,
			0.185587700320e-04,
			-0.994575928740e-07,
			0.318409457190e-09,
			-0.560728448890e-12,
			0.560750590590e-15,
			-0.320207200030e-18,
			0.971511471520e-22,
			-0.121047212750e-25,
		}},
	},
	inverse: []polynomial{ // mV to °C
		{low: -5.891, high: 0, of: []float64{
			0.0000000e+00,
			2.5173462e+01,
			-1.1662878e+00,
			-1.0833638e+00,
			-8.9773540e-01,
			-3.7342377e-01,
			-8.6632643e-02,
			-1.0450598e-02,
			-5.1920577e-04,
		}},
		{low: 0, high: 20.644, of: []float64{
			0.000000e+00,
			2.508355e+01,
			7.860106e-02,
			-2.503131e-01,
			8.315270e-02,
			-1.228034e-02,
			9.804036e-04,
			-4.413030e-05,
			1.057734e-06,
			-1.052755e-08,
		}},
		{low: 20.644, high: 54.886, of: []float64{
			-1.318058e+02,
			4.830222e+01,
			-1.646031e+00,
			5.464731e-02,
			-9.650715e-04,
			8.802193e-06,
			-3.110810e-08,
		}},
	},
	bump:  bump{a0: 0.118597600000e+00, a1: -0.118343200000e-03, a2: 0.126968600000e+03},
	least: -5.891403592350401, most: 54.886364025304395,
}
