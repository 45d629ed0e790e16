package thermocouple

// tableS is type S, platinum-10 % rhodium against platinum. Its second and third inverse ranges overlap from
// 10.332 to 11.950 mV; the third is the tighter and is used from where it begins.
//
// Source: NIST Standard Reference Database 60, ITS-90 Thermocouple Database (functions of NIST
// Monograph 175, 1993), type S, digits as printed there. The last row of limits is reckoned from them.
var tableS = table{
	forward: []polynomial{ // °C to mV
		{low: -50, high: 1064.18, of: []float64{
			0.000000000000e+00,
			0.540313308631e-02,
			0.125934289740e-04,
			-0.232477968689e-07,
			0.322028823036e-10,
			-0.331465196389e-13,
			0.255744251786e-16,
			-0.125068871393e-19,
			0.271443176145e-23,
		}},
		{low: 1064.18, high: 1664.5, of: []float64{
			0.132900444085e+01,
			0.334509311344e-02,
			0.654805192818e-05,
			-0.164856259209e-08,
			0.129989605174e-13,
		}},
		{low: 1664.5, high: 1768.1, of: []float64{
			0.146628232636e+03,
			-0.258430516752e+00,
			0.163693574641e-03,
			-0.330439046987e-07,
			-0.943223690612e-14,
		}},
	},
	inverse: []polynomial{ // mV to °C
		{low: -0.235, high: 1.874, of: []float64{
			0.00000000e+00,
			1.84949460e+02,
			-8.00504062e+01,
			1.02237430e+02,
			-1.52248592e+02,
			1.88821343e+02,
			-1.59085941e+02,
			8.23027880e+01,
			-2.34181944e+01,
			2.79786260e+00,
		}},
		{low: 1.874, high: 11.95, of: []float64{
			1.291507177e+01,
			1.466298863e+02,
			-1.534713402e+01,
			3.145945973e+00,
			-4.163257839e-01,
			3.187963771e-02,
			-1.291637500e-03,
			2.183475087e-05,
			-1.447379511e-07,
			8.211272125e-09,
		}},
		{low: 10.332, high: 17.536, of: []float64{
			-8.087801117e+01,
			1.621573104e+02,
			-8.536869453e+00,
			4.719686976e-01,
			-1.441693666e-02,
			2.081618890e-04,
		}},
		{low: 17.536, high: 18.693, of: []float64{
			5.333875126e+04,
			-1.235892298e+04,
			1.092657613e+03,
			-4.265693686e+01,
			6.247205420e-01,
		}},
	},
	least: -0.23555507149267135, most: 18.693541326999465,
}
