"""Design helpers: from what is wanted to what is cut and soldered, and back.

    from hbsim.design import lines, pairs, coupled_filter, stub_match, lumped_match, feed

Each gives a frozen answer with the parts themselves (`elements`), which `hbsim.describe.fragment` writes as text for a
circuit file; what an answer says of itself comes from an analysis of these very parts, rounded as they are cut.
"""
