"""The letters of the one face that the typesetter brings along: Libertinus Serif.

Its file is inside the typesetter and cannot be read, so they are listed: ranges of code points
in hexadecimal, in regular and bold. A test sets every one of them.
"""

NAME = "Libertinus Serif"
LETTERS = """
20-7e a0-ac ae-2e4 2ea-36f 374-375 37a-37e 384-38a 38c 38e-3a1 3a3-3ce 3d0-3e1 3f0-3f6 3f8-3f9
3fb 3fd-45f 462-463 470-477 490-4c4 4c7-4cc 4d0-4f9 1e00-1e9b 1e9e 1ea0-1ef9 1f00-1f15 1f18-1f1d
1f20-1f45 1f48-1f4d 1f50-1f57 1f59 1f5b 1f5d 1f5f-1f7d 1f80-1fb4 1fb6-1fc4 1fc6-1fd3 1fd6-1fdb
1fdd-1fef 1ff2-1ff4 1ff6-1ffe 2000-200a 2010-2027 202f-2037 2039-203e 2042 2044 2047-204b 204f
205f 2070-2071 2074-208e 2090-209c 20a2-20a4 20a7-20a8 20ab-20ac 20af 20b1 20bf 2100-2103
2105-2106 2109 210c-210f 2111 2113 2115-2116 2119-211a 211c-211d 2120 2122 2124 2126-2127
212a-212b 212e 2135-2139 214f 2153-2184 2190-219b 21a8 21ae 21bc-21bd 21c0-21c1 21cb-21d9
2200-220d 220f-221c 221e-221f 2223-222b 2236 223c 2241 2245 2247-2249 2259 2260-2262 2264-2265
226a-226b 226e-2271 2282-2285 2295-2298 22c5 22ef 25a0-25a1 25b2-25b3 25b6-25b7 25bc-25bd
25c0-25c1 25c6-25c7 25c9-25cc 25ce-25d7
"""
