"""One invented transistor in five prints, and what a reader must give back: decimals worked by hand."""

EXPECTED = {
    "IS": 3.1e-16, "BF": 112, "NF": 1.01, "VAF": 28, "IKF": 0.12, "ISE": 4e-14, "NE": 1.9, "BR": 9.5, "NR": 1.02,
    "VAR": 3.2, "IKR": 0.018, "ISC": 5.5e-15, "NC": 1.6, "RB": 8.4, "IRB": 2.5e-4, "RBM": 2.1, "RE": 0.45, "RC": 3.8,
    "CJE": 6.2e-13, "VJE": 0.82, "MJE": 0.36, "TF": 7.4e-12, "XTF": 12, "VTF": 1.8, "ITF": 0.095, "PTF": 20,
    "CJC": 3.1e-13, "VJC": 0.64, "MJC": 0.41, "XCJC": 0.22, "TR": 1.3e-9, "CJS": 0, "VJS": 0.75, "MJS": 0, "XTB": -1.4,
    "EG": 1.11, "XTI": 3, "FC": 0.85, "TNOM": 300}

THREE_TO_A_ROW = """\
IS =    0.31  fA     BF =   112   -      NF =   1.01  -
VAF =   28    V      IKF =  0.12  A      ISE =  40    fA
NE =    1.9   -      BR =   9.5   -      NR =   1.02  -
VAR =   3.2   V      IKR =  18    mA     ISC =  5.5   fA
NC =    1.6   -      RB =   8.4   Ω      IRB =  0.25  mA
RBM =   2.1   Ω      RE =   0.45         RC =   3.8   Ω
CJE =   620   fF     VJE =  0.82  V      MJE =  0.36  -
TF =    7.4   ps     XTF =  12    -      VTF =  1.8   V
ITF =   95    mA     PTF =  20    deg    CJC =  310   fF
VJC =   0.64  V      MJC =  0.41  -      XCJC = 0.22  -
TR =    1.3   ns     CJS =  0     F      VJS =  0.75  V
MJS =   0     -      XTB =  -1.4  -      EG =   1.11  eV
XTI =   3     -      FC =   0.85         TNOM   300   K
"""

NUMBERED = """\
SEQUENCE No.  PARAMETER  VALUE   UNIT
1             IS         310.0   aA
2             BF         112.0   -
3             NF         1.010   -
5             IKF        120.0   mA
6             ISE        40.00   fA
17            RE         450.0   mΩ
20            VJE        820.0   mV
21            MJE        360.0   m
34 (1)        CJS        0.000   F
35 (1)        VJS        750.0   mV
38            FC         850.0   m
Note
1. These parameters have not been extracted, the default values are shown.
"""
OF_NUMBERED = ("IS", "BF", "NF", "IKF", "ISE", "RE", "VJE", "MJE", "CJS", "VJS", "FC")

TWO_GROUPS = """\
BJT PARAMETERS (1)
Parameters   Q1          Parameters   Q1           UNITS
IS           3.1e-16     MJC          0.41         Parameter    Units
BF           112         XCJC         0.22         time         seconds
NF           1.01        CJS          0            capacitance  farads
VAF          28          VJS          0.75         resistance   ohms
TF           7.4e-12     ITF          0.095        voltage      volts
IRB          2.5e-4      XTB          -1.4         current      amps
MODEL RANGE  Frequency: 0.05 to 3.0 GHz   Bias: VCE = 2.5 V to 10 V, IC = 0.3 mA to 10 mA
(1) Gummel-Poon Model
"""
OF_TWO_GROUPS = ("IS", "BF", "NF", "VAF", "TF", "IRB", "MJC", "XCJC", "CJS", "VJS", "ITF", "XTB")

LIST = """\
* demo transistor, sheet of 2001, VAF=50 in an older issue
.MODEL QDEMO NPN (IS=0.31F BF=112 NF=1.01 VAF=28 IKF=0.12
+ ISE=4E-14 NE=1.9, BR=9.5 NR = 1.02 VAR=3.2 IKR=18M ISC=5.5f   ; reverse part
+ NC=1.6 RB=8.4 IRB=250u RBM=2.1 RE=450m RC=3.8OHM
+ CJE=620FF vje=0.82V mje=0.36 Tf=7.4P XTF=12 VTF=1.8 ITF=95MA PTF=20DEG
+ CJC=.31PF VJC=0.64 MJC=0.41 XCJC=0.22 TR=1.3NS CJS=0 VJS=.75 MJS=0
+ XTB=-1.4 EG=1.11 XTI=3 FC=0.85 TNOM=300K)
"""

COLUMN_BY_COLUMN = "IS\nBF\nNF\n3.1e-16\n112\nMJC\nXCJC\n0.41\n1.01\n0.22\nVAF\n28\n"
